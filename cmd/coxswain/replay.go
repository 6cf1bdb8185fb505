package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/session"
	"coxswain/intents"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

func newReplay(c *config.Config) *cobra.Command {
	var out, wall string
	var quiet, echoed bool
	cmd := &cobra.Command{
		Use: "replay IN.wav --out DIR", Short: "Run a session from a recording instead of a microphone",
		Long: `Run a session from a recording: the same pipeline as ` + "`coxswain run`" + `, faster than
real time. The same recording gives the same record, byte for byte.

IN.wav is 16-bit mono at 48 kHz. DIR gets the record of the first case: events.jsonl
(the journal) and audio-00.wav (channel 1 the room, channel 2 what coxswain said),
from a minute before its first callout to its end. Further cases go to DIR-2, DIR-3.`,
		Example: `  coxswain replay drill.wav --out record/
  coxswain replay drill.wav --out record/ --wall 2026-03-01T14:00:00+01:00
  sox audio-00.wav room.wav remix 1 && coxswain replay room.wav --echoed --out again/
  coxswain timeline record/`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				return fmt.Errorf("where should the record go? say --out DIR")
			}
			at, err := time.Parse(time.RFC3339, wall)
			if err != nil {
				return fmt.Errorf("--wall %q: want a time such as 2026-03-01T14:00:00+01:00", wall)
			}
			progress := cmd.ErrOrStderr()
			if quiet {
				progress = io.Discard
			}
			fmt.Fprintln(cmd.ErrOrStderr(), Caution)
			return replay(c, replayed{args[0], out, at, practice{}, echoed}, progress, cmd.ErrOrStderr())
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "folder for the record; made if missing")
	cmd.Flags().StringVar(&wall, "wall", "2000-01-01T00:00:00Z", "wall-clock time of the first sample")
	cmd.Flags().BoolVar(&echoed, "echoed", false, "the recording heard coxswain's own voice, as channel 1 of a live record did")
	cmd.Flags().BoolVar(&quiet, "quiet", false, "no progress bar")
	return cmd
}

// replayed is a session, or a drill, over a file.
type replayed struct {
	in, dir string
	wall    time.Time
	drill   practice
	echoed  bool
}

func replay(c *config.Config, o replayed, progress, stderr io.Writer) error {
	r, err := recorder.OpenMono(o.in, audio.Rate)
	if err != nil {
		return err
	}
	defer r.Close()
	for _, note := range r.Notes {
		fmt.Fprintf(stderr, "%s: %s\n", o.in, note)
	}
	v, err := intents.LoadVocabulary(c.Vocabulary...)
	if err != nil {
		return err
	}
	ear, err := startPlugIn(c.Recogniser, intents.ProcessOptions{Vocabulary: v, Lockstep: true, Patience: 20 * time.Second, Stderr: stderr})
	if err != nil {
		return err
	}
	if err := usable(o.dir); err != nil {
		ear.Close()
		return err
	}
	so, err := sessionOptions(c, v, o.echoed)
	if err != nil {
		ear.Close()
		return err
	}
	so.Ear, so.Recogniser, so.Source, so.Wall = ear, ear.Name(), filepath.Base(o.in), o.wall
	o.drill.on(&so)
	var dirs []string
	so.Begin = func(wall time.Time, had []timeline.Event, pos int64) (session.Kept, error) {
		dir := o.dir
		if n := len(dirs); n > 0 {
			dir = fmt.Sprintf("%s-%d", filepath.Clean(o.dir), n+1)
		}
		k, err := begin(dir, wall, had, pos)
		if err == nil {
			dirs = append(dirs, dir)
		}
		return k, err
	}
	s, err := session.New(so)
	if err != nil {
		ear.Close()
		return err
	}
	if err := s.Feed(r, nil, progress); err != nil {
		return err
	}
	switch len(dirs) {
	case 0:
		os.Remove(o.dir)
		fmt.Fprintln(stderr, "coxswain: no case was called: there is no record (--record always writes one all the same)")
	case 1:
	default:
		fmt.Fprintf(stderr, "coxswain: %d cases: %s\n", len(dirs), strings.Join(dirs, ", "))
	}
	return nil
}

// usable makes the folder of a record, which must not hold one yet.
func usable(dir string) error {
	if _, err := os.Stat(filepath.Join(dir, record.JournalName)); err == nil {
		return fmt.Errorf("%s exists: choose another folder for the record", filepath.Join(dir, record.JournalName))
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("cannot make the record's folder: %w", err)
	}
	return nil
}

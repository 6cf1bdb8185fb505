package main

import (
	"fmt"
	"io"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/config"
	"coxswain/intents"
	"coxswain/timeline/record"
)

func newReplay(c *config.Config) *cobra.Command {
	var out, wall string
	var quiet, echoed bool
	cmd := &cobra.Command{
		Use: "replay IN.wav --out DIR", Short: "Run a session from a recording instead of a microphone",
		Long: `Run a session from a recording: the same pipeline as ` + "`coxswain run`" + `, faster than
real time. The same recording gives the same record, byte for byte.

IN.wav is 16-bit mono at 48 kHz. DIR gets events.jsonl (the journal) and
audio-00.wav (channel 1 the room, channel 2 what coxswain said).`,
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
	so, err := sessionOptions(c, v, o.echoed)
	if err != nil {
		ear.Close()
		return err
	}
	so.Ear, so.Recogniser, so.Source, so.Wall = ear, ear.Name(), filepath.Base(o.in), o.wall
	o.drill.on(&so)
	w, err := record.Begin(o.dir, o.wall)
	if err != nil {
		ear.Close()
		return err
	}
	s, err := newSession(so, w)
	if err != nil {
		ear.Close()
		return err
	}
	return s.Feed(r, nil, progress)
}

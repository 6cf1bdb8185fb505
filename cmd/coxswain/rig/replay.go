package rig

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/session"
	"coxswain/intents"
	"coxswain/timeline/record"
)

// Recording is what a session, or a drill, is replayed from.
type Recording struct {
	In, Dir  string // WAV file; folder for the record
	Wall     time.Time
	Practice Practice
	Echoed   bool // it heard what coxswain said
}

// Replay runs a session over a recording, as fast as it goes.
func (r Rig) Replay(o Recording, progress io.Writer) error {
	wav, err := recorder.OpenMono(o.In, audio.Rate)
	if err != nil {
		return err
	}
	defer wav.Close()
	for _, note := range wav.Notes {
		fmt.Fprintf(r.Stderr, "%s: %s\n", o.In, note)
	}
	v, err := intents.LoadVocabulary(r.Vocabulary...)
	if err != nil {
		return err
	}
	r.lacks(v)
	profile := VoiceProfile(r.Config, r.Stderr)
	ear, err := StartPlugIn(
		r.Recogniser,
		intents.ProcessOptions{Vocabulary: v, Voice: profile, Open: true, Lockstep: true, Patience: 20 * time.Second,
			Stderr: r.Stderr},
	)
	if err != nil {
		return err
	}
	if err := usable(o.Dir); err != nil {
		ear.Close()
		return err
	}
	so, err := r.Options(v, o.Echoed)
	if err != nil {
		ear.Close()
		return err
	}
	so.Ear, so.Recogniser, so.Source, so.Wall = ear, ear.Name(), filepath.Base(o.In), o.Wall
	so.Profile = profile
	o.Practice.on(&so)
	var dirs []string
	so.Begin = inOrder(o.Dir, &dirs)
	s, err := session.New(so)
	if err != nil {
		ear.Close()
		return err
	}
	err = s.Feed(wav, nil, progress)
	if note := wav.Afterwards(); note != "" {
		fmt.Fprintf(r.Stderr, "%s: %s\n", o.In, note)
	}
	if err != nil {
		return err
	}
	if len(dirs) == 0 {
		os.Remove(o.Dir)
		fmt.Fprintln(r.Stderr, "coxswain: no case was called: there is no record (--record always writes one all the same)")
	} else if len(dirs) > 1 {
		fmt.Fprintf(r.Stderr, "coxswain: %d cases: %s\n", len(dirs), record.Printable(strings.Join(dirs, ", ")))
	}
	return nil
}

// inOrder begins records in a folder and, beside it, in -2, -3 and so on, the next
// that is free; dirs lists them.
func inOrder(first string, dirs *[]string) session.Begin {
	next := 2
	return func(b session.Beginning) (session.Kept, error) {
		dir := first
		for ; len(*dirs) > 0; next++ {
			dir = fmt.Sprintf("%s-%d", filepath.Clean(first), next)
			if err := os.Mkdir(dir, 0o700); err == nil {
				break
			} else if !errors.Is(err, os.ErrExist) {
				return session.Kept{}, fmt.Errorf("cannot make the record's folder: %w", err)
			}
		}
		k, err := BeginIn(dir, b)
		if err == nil {
			*dirs = append(*dirs, dir)
		}
		return k, err
	}
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

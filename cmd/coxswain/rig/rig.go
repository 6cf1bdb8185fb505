// Package rig puts a session together from its parts, as the configuration says,
// and runs it: on a sound device, over a recording, or by keyboard.
package rig

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"coxswain/audio"
	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/session"
	"coxswain/intents"
	"coxswain/prompts"
	"coxswain/timeline"
	"coxswain/timeline/drill"
	"coxswain/timeline/record"
)

// Rig is what a session is put together from.
type Rig struct {
	*config.Config
	Software string    // our name and version
	Stderr   io.Writer // where the log goes, and what the recogniser says
}

// Practice is a drill as it is asked for; the zero value is none.
type Practice struct {
	Case   *drill.Case
	Team   string               // that practises; empty: not said
	Silent bool                 // advice off
	Watch  func(timeline.Event) // sees every event; nil: nobody does
	Look   func(*session.Box)   // gets where to look at the session; nil: nobody does
}

// looked shows where to look at the session to whoever wants to.
func (p Practice) looked(s *session.Session) {
	if p.Look != nil {
		p.Look(s.Latest())
	}
}

// on makes a session a drill.
func (p Practice) on(o *session.Options) {
	o.Drill, o.Team, o.Silent, o.Watch = p.Case, p.Team, p.Silent, p.Watch
}

// Protocol loads the protocol and holds the metronome to its rates.
func Protocol(c *config.Config) (*timeline.Protocol, error) {
	p, err := c.Guideline.Load()
	if err != nil {
		return nil, err
	}
	return p, c.Beat.Within(p)
}

// Options are what the configuration says of a session. hearsItself: what
// coxswain says comes back to its microphone.
func (r Rig) Options(v *intents.Vocabulary, hearsItself bool) (o session.Options, err error) {
	c := r.Config
	o = session.Options{Vocabulary: v, Rate: float64(c.Rate), Mode: c.Mode, Volume: c.Volume,
		Echo: hearsItself && c.CancelEcho, LoopDelay: c.LoopDelay(),
		Always: c.Keep == "always", Before: c.Before(), Silence: c.Silence(), Software: r.Software}
	if o.Protocol, err = Protocol(c); err != nil {
		return o, err
	}
	if o.Voice, err = prompts.NewVoice(c.Clips); err != nil {
		return o, err
	}
	if o.Voice, err = o.Voice.In(o.Protocol.Words); err != nil {
		return o, fmt.Errorf("protocol %s: %w", o.Protocol.ID, err)
	}
	return o, nil
}

// resume goes on with the case that was cut off a moment ago, if there is one. What was
// open beside it is finished meanwhile: nobody goes back to it.
func (r Rig) resume(now time.Time, notices *monitor.Notices) session.Resume {
	cut := record.FindCut(now, r.Resume(), r.folders()...)
	for _, dir := range record.LeftOpen(now, r.Resume(), r.folders()...) {
		if cut == nil || dir != cut.Dir {
			go finish(dir, notices)
		}
	}
	lost := false
	for _, err := range record.Spoilt(now, r.Resume(), r.folders()...) {
		notices.Add("a case that was cut off cannot go on, a new one begins with the next callout: %v", err)
		lost = true
	}
	for _, dir := range record.Headless(now, r.Resume(), r.folders()...) {
		notices.Add("a record has lost its journal, and with it what was called: if its case had not ended it cannot "+
			"go on, a new one begins with the next callout; its sound is there: %s", dir)
		lost = true
	}
	if cut == nil {
		return session.Resume{Lost: lost}
	}
	if r.tried(now) {
		notices.Add("a case that was cut off has ended coxswain %d times within %v and does not go on, "+
			"a new one begins with the next callout: %s", triesMost, triesWithin, cut.Dir)
		return session.Resume{Lost: true}
	}
	w, err := cut.Resume(now)
	if err != nil && !errors.Is(err, record.ErrInUse) {
		notices.Add("a case that was cut off goes on in a new record; its first one, with the sound up to then, "+
			"cannot be gone on with: %s: %v", cut.Dir, err)
		had, pos := cut.Anew(now)
		k := session.Kept{Name: cut.Name(), Events: cut.Events}
		return session.Resume{Kept: k, Had: had, Pos: pos, Anew: err}
	}
	if err != nil {
		notices.Add("a case that was cut off cannot go on, a new one begins with the next callout: %s: %v", cut.Dir, err)
		return session.Resume{Lost: true}
	}
	k := kept(w)
	k.Moved = filepath.Dir(w.Dir) != filepath.Clean(r.Folder)
	return session.Resume{Kept: k, Had: w.Had, Pos: w.Pos}
}

// finish finishes a record that was cut off.
func finish(dir string, notices *monitor.Notices) {
	m, err := record.Mend(dir)
	if err != nil {
		notices.Add("a record that was cut off is not finished: %v; once that is mended: coxswain mend %s", err, dir)
		return
	}
	notices.Add("a record that was cut off is finished: %s, %v", dir, audio.Duration(m.Samples).Round(time.Second))
}

// recordsIn returns how to begin records in the records folder or, where that
// cannot be written to, in the fallback, which is noticed; last is the folder of the last one.
func (r Rig) recordsIn(last *string, notices *monitor.Notices) session.Begin {
	c := r.Config
	return func(b session.Beginning) (session.Kept, error) {
		var errs []error
		for _, folder := range []string{c.Folder, c.Fallback()} {
			if folder == c.Folder && b.Elsewhere {
				errs = append(errs, fmt.Errorf("%s cannot be written to", folder))
				continue
			}
			at, err := ownFolder(folder)
			dir := ""
			if err == nil {
				dir, err = record.NewFolder(at, b.Wall)
			}
			if err == nil {
				var k session.Kept
				if k, err = BeginIn(dir, b); err == nil {
					*last, k.Moved = dir, folder != c.Folder
					if k.Moved || len(b.Had) > 0 {
						if len(errs) == 0 {
							errs = append(errs, errors.New("the one that it had is lost"))
						}
						notices.Add("the record is written to %s: %v", dir, errors.Join(errs...))
					}
					return k, nil
				}
				os.Remove(dir) // only if nothing is in it
			}
			errs = append(errs, err)
		}
		return session.Kept{}, errors.Join(errs...)
	}
}

// BeginIn starts a record in a folder, with what belongs to it already.
func BeginIn(dir string, b session.Beginning) (session.Kept, error) {
	w, err := record.BeginAnew(dir, b.Wall, b.Had, b.Pos)
	if err != nil {
		return session.Kept{}, err
	}
	return kept(w), nil
}

func kept(w *record.Writer) session.Kept {
	return session.Kept{
		Name:    filepath.Base(w.Dir),
		Journal: w.Journal,
		Sound:   w.Sound,
		Events:  w.Events,
		Intact:  w.Intact,
	}
}

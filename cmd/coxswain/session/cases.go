package session

import (
	"context"
	"log/slog"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/intents"
	"coxswain/timeline"
)

const (
	// afterEnd is how long a case stays open behind the last callout, once its end
	// cannot be taken back any more: for the answer to sound.
	afterEnd = 10 * audio.Rate
	// askBefore is how long before a silent case ends it is asked for.
	askBefore = 60 * audio.Rate
)

// opens reports whether a callout shows that there is a patient: anything that
// was done or found, called for the first time or not, but no question or order
// to coxswain, and no end. A start that was not heard must not cost the record.
func opens(k timeline.Kind) bool {
	row := k.Row()
	return k.IsCallout() && !row.Control && !row.Confirm
}

// callout takes what was called into the case that runs, or begins
// one. A start that is called behind the end of a case is the next patient's: in a
// drill, which has one patient, the drill is over.
func (s *Session) callout(r intents.Result) {
	k := timeline.Kind(r.Callout)
	if s.goBack(r) {
		return
	}
	s.notesStart(r)
	if s.now.kept() && s.now.leaves(r) {
		if s.o.Drill != nil {
			s.over = s.now.ended()
			return
		}
		s.putAside(r)
		s.next()
	}
	if !s.now.kept() && opens(k) {
		s.open()
	}
	s.now.callout(r)
}

// startByHand begins a case that nobody called, or logs the start of one.
func (s *Session) startByHand() {
	if s.now.kept() && s.now.ended() {
		s.next()
	}
	if !s.now.kept() {
		s.open()
	}
	if s.now.machine.State().Started == timeline.Never {
		s.now.take(
			timeline.Event{At: timeline.Time(s.now.pos), Kind: timeline.CodeStart, Text: "asked for, not called"},
		)
		s.now.called, s.now.asked = s.now.pos, 0
	}
}

// open begins a case with its own record: the sound of the last minute, and
// what was said and went wrong in it, belong to it.
func (s *Session) open() {
	was := s.now
	held := s.before.take()
	off := s.pos - int64(held.n)
	c := newCase(&s.o, s.record(off), s.player, off)
	c.pos, c.called = int64(held.n), int64(held.n)
	c.logger.Lead(&held)
	shift := timeline.Time(off - was.off)
	for _, e := range was.events {
		if e.At -= shift; e.At < 0 || e.Kind == timeline.SessionOpen {
			continue
		}
		if e.Until -= shift; e.Until < 0 {
			e.Until = 0
		}
		e.Seq, e.Heard, e.Retracts, e.Replaces = 0, nil, 0, 0
		if e.Kind == timeline.CueSpoken || e.Kind == timeline.CueDropped || e.Kind == timeline.Fault ||
			e.Kind == timeline.Recovered {
			c.append(e)
		}
	}
	for _, sp := range was.spoken {
		sp.At, sp.Until = sp.At-shift, sp.Until-shift
		c.spoken = append(c.spoken, sp)
	}
	s.now = c
	s.tell("a case begins")
}

// turn closes a case that has ended, or of which nothing was heard for long.
func (s *Session) turn() {
	c := s.now
	s.over = s.over || c.over
	if !c.kept() {
		c.forget(max(s.o.Before, time.Minute))
		return
	}
	st := c.machine.State()
	if c.ended() {
		if c.pos-int64(st.Ended) < int64(timeline.Reopen()) || c.pos-c.called < afterEnd || s.player.Talking() {
			return
		}
		if s.over = s.over || s.o.Drill != nil; s.over {
			return
		}
		s.next()
		return
	}
	if s.o.Drill != nil {
		return
	}
	silence := int64(s.o.Silence.Seconds() * audio.Rate)
	if silence == 0 || s.o.Always && st.Started == timeline.Never || st.Compressing {
		c.called, c.asked = c.pos, 0
		return
	}
	s.silent(silence)
}

// silent asks after a long silence, a moment before the record ends by itself.
func (s *Session) silent(silence int64) {
	c := s.now
	switch quiet := c.pos - c.called; {
	case c.asked == 0 && quiet >= silence-min(askBefore, silence/2):
		c.asked = c.pos
		c.append(timeline.Event{At: timeline.Time(c.pos), Kind: timeline.Question, Cue: "case.silent"})
		c.offer(
			timeline.Cue{
				ID:       "case.silent",
				At:       c.now(),
				Expires:  c.now() + timeline.Seconds(20),
				Priority: timeline.Alarm,
			},
		)
	case c.asked != 0 && quiet >= silence:
		s.lapse(silence)
	}
}

// next closes the present case and goes back to listening, or, where a record
// runs always, begins the next at once. Nothing of the old one stays.
func (s *Session) next() {
	s.player.Hush()
	s.former = ""
	silent := s.aside != nil && s.now == s.aside.oneCase && !s.now.ended()
	if s.now.justEnded() || silent {
		s.former = s.now.folder()
	}
	if s.aside == nil || s.now != s.aside.oneCase {
		s.finish(s.now)
	}
	s.tell("a case has ended")
	s.before.forget()
	if s.o.Always {
		s.now = newCase(&s.o, s.record(s.pos), s.player, s.pos)
		return
	}
	s.now = s.between()
}

// between stands for a case while there is none: it answers, and keeps nothing.
func (s *Session) between() *oneCase {
	return newCase(&s.o, Kept{Former: s.former, Until: s.formerUntil(s.pos), Journal: nowhere{}, Sound: nowhere{}},
		s.player, s.pos)
}

// record is the record of a case that begins at sample off, opened by whoever
// writes to it first.
func (s *Session) record(off int64) Kept {
	r := &opening{begin: s.beginAt(off), live: s.o.Live}
	return Kept{
		Former:  s.former,
		Until:   s.formerUntil(off),
		Name:    s.o.Wall.Add(audio.Duration(off)).Format("2006-01-02T150405"),
		Named:   r.named,
		Journal: (*openingJournal)(r),
		Sound:   (*openingSound)(r),
	}
}

// beginAt begins the record of a case whose sample 0 is sample off.
func (s *Session) beginAt(off int64) Begin {
	wall := s.o.Wall.Add(audio.Duration(off))
	return func(b Beginning) (Kept, error) {
		b.Wall = wall
		return s.o.Begin(b)
	}
}

// tell logs where the case's record is, in a replay only for whoever debugs.
func (s *Session) tell(what string) {
	level := slog.LevelDebug
	if s.o.Live {
		level = slog.LevelInfo
	}
	slog.Log(context.Background(), level, what, "record", s.now.folder())
}

// ended reports whether the end of the code was confirmed.
func (s *oneCase) ended() bool { return s.machine.State().Ended != timeline.Never }

// forget drops what happened longer than that ago, where nothing is kept.
func (s *oneCase) forget(ago time.Duration) {
	if s.pos%(60*audio.Rate) >= audio.Block {
		return
	}
	limit := timeline.Time(s.pos) - timeline.Seconds(ago.Seconds())
	keep := s.events[:0]
	for _, e := range s.events {
		if e.At >= limit {
			keep = append(keep, e)
		}
	}
	s.events = keep
}

// nowhere keeps nothing.
type nowhere struct{}

func (nowhere) AppendAll([]timeline.Event) error    { return nil }
func (nowhere) Write(room, speaker []float32) error { return nil }
func (nowhere) Mark(recorder.Mark)                  {}
func (nowhere) Close() error                        { return nil }

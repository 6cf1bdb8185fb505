package session

import (
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"coxswain/audio"
	"coxswain/intents"
	"coxswain/intents/decide"
	"coxswain/prompts"
	"coxswain/timeline"
	"coxswain/timeline/drill"
)

// Options say what a session runs on. The zero value of a field whose comment
// does not say what it means is not allowed.
type Options struct {
	Protocol   *timeline.Protocol
	Vocabulary *intents.Vocabulary
	Voice      *prompts.Voice
	Ear        intents.Ear
	Begin      Begin
	Resume     Resume               // a record to go on with; zero: none
	Always     bool                 // a record runs all the time, not only in a case
	Before     time.Duration        // of sound before a case's start that belongs to its record; 0: none
	Silence    time.Duration        // without a callout or compressions, after which a case ends; 0: never
	Rate       float64              // metronome, compressions a minute
	Mode       string               // metronome: auto, ratio or continuous
	Volume     float64              // gain of everything played, 0 to 1
	Echo       bool                 // take our own sound out of what the ear hears
	LoopDelay  time.Duration        // least time from loudspeaker to microphone
	Software   string               // our version
	Recogniser string               // name and version
	Profile    []byte               // of the voice that the ear hears with, JSON; nil: none
	Source     string               // "device", or a file's name
	Wall       time.Time            // of the session's sample 0
	Boot       *timeline.Boot       // the same moment by the machine's own clock; nil: not known
	Lead       int                  // blocks that the speaker is rendered ahead; 0: audio.Lead
	Live       bool                 // the disk must not make the loop wait
	Drill      *drill.Case          // nil outside a drill
	Team       string               // that practises; empty: not said
	Silent     bool                 // advice off: what is due is neither said nor asked
	Watch      func(timeline.Event) // sees every event as it is appended; nil: nobody does
}

// Begin begins the record of a case.
type Begin func(Beginning) (Kept, error)

// Beginning is what a record begins with: more than its time where another was
// lost, or could not be begun at once.
type Beginning struct {
	Wall      time.Time        // of sample 0
	Had       []timeline.Event // that belong to it already
	Pos       int64            // samples of sound that belong to it, as silence
	Elsewhere bool             // only in another folder: the first cannot be written to
}

// Kept is the record of a case.
type Kept struct {
	Name    string        // of the record, for whoever looks
	Named   func() string // the same, where it may change; nil, or empty: it has not
	Former  string        // the record of the case that ended a moment before it began
	Until   timeline.Time // until when an undo leads back to a former one that ended by silence, by the record's clock
	Journal Journal
	Sound   SoundLog
	Events  []timeline.Event // of a record to go on with; none: a new one
	Intact  func() error     // whether it still lies where it was begun; nil: not known
	Moved   bool             // it lies in the other folder already: there is no third
}

// Resume is a case that was cut off and goes on.
type Resume struct {
	Kept
	Had  int64 // samples of audio that are there
	Pos  int64 // clock sample at which it goes on
	Lost bool  // a case was cut off and cannot go on: the team is told
	Anew error // why the case goes on in a new record, with the events of the first; nil: in its own
}

// Session is the one loop: room block in, speaker block out. Everything it
// does depends on the blocks and on what the ear returns for them, never on
// the wall clock. One case follows the other, each with a record of its own;
// between them it listens and keeps nothing but the last sound, in memory.
// A Session is for one goroutine; Latest and Start may be called from any.
type Session struct {
	o        Options
	ear      intents.Ear
	listener *Listener
	speech   intents.Endpointer // tells when somebody speaks: no prompt begins then
	player   *audio.Player
	out      []float32
	pos      int64    // clock: samples of the room heard
	now      *oneCase // the case that runs, or what stands for it between cases
	former   string   // record of the case that ended a moment ago; empty: none did
	aside    *aside   // that case, while it can still be gone back to; nil: none
	way      wayBack
	before   *before
	hearing  hearing
	holes    holes  // in the sound of the room
	deaf     string // why the recogniser does not hear; empty: it does
	sound    string // whole, lost, or what it lacks

	lostShare float64 // of the last half minute's sound
	beats     Beats   // how evenly the metronome sounds
	over      bool    // the session has come to its end by itself
	seen      Box
	start     atomic.Bool // a start was asked for, not called
	closing   sync.WaitGroup
	mu        sync.Mutex
	closeErr  error // of the cases that were closed
}

// New starts a session, or goes on with one that was cut off. It closes the ear
// and every record when it is closed, not if New fails.
func New(o Options) (*Session, error) {
	for _, c := range o.Vocabulary.Callouts {
		if timeline.Kind(c.ID).Row().Own {
			return nil, fmt.Errorf("vocabulary, line %d: %s is an entry that coxswain itself writes: "+
				"give the callout another id", c.Line, c.ID)
		}
		if !timeline.Kind(c.ID).IsCallout() && !c.New {
			return nil, fmt.Errorf(
				"vocabulary: callout %q is not one that the timeline knows: mark it new: true to log it all the same",
				c.ID,
			)
		}
	}
	rules, err := decide.Load()
	if err != nil {
		return nil, err
	}
	listener, err := NewListener(o.Echo, int(o.LoopDelay/(10*time.Millisecond))-1)
	if err != nil {
		return nil, err
	}
	s := &Session{
		o:        o,
		ear:      o.Ear,
		listener: listener,
		player:   audio.NewPlayer(int64(max(o.Lead, audio.Lead)) * audio.Block),
		out:      make([]float32, audio.Block),
		before:   newBefore(o.Before),
		hearing:  hearing{rules: rules},
	}
	switch {
	case o.Resume.Name != "":
		k := o.Resume.Kept
		r := resumed(k, o.Resume.Pos, s.beginAt(-o.Resume.Pos), o.Live)
		k.Journal, k.Sound, k.Named = (*openingJournal)(r), (*openingSound)(r), r.named
		s.now = newCase(&s.o, k, s.player, -o.Resume.Pos)
		s.now.pos, s.now.called = o.Resume.Pos, o.Resume.Pos
		s.fault(
			timeline.Recovered,
			"resumed",
			fmt.Sprintf(
				"the session goes on after a cut of %v",
				audio.Duration(o.Resume.Pos-o.Resume.Had).Round(time.Second),
			),
		)
		if o.Resume.Anew != nil {
			s.now.saving = false // until it is
			s.fault(timeline.Fault, "fault.disk", fmt.Sprintf("the record goes on in a new folder, without the "+
				"sound before the cut: %v", o.Resume.Anew))
		}
		return s, nil
	case o.Always || o.Drill != nil:
		s.now = newCase(&s.o, s.record(0), s.player, 0)
	default:
		s.now = s.between()
	}
	s.greet()
	return s, nil
}

// Pos is the session's clock: samples of the room heard.
func (s *Session) Pos() int64 { return s.pos }

// Over reports whether the drill's case, or the session, has ended.
func (s *Session) Over() bool { return s.over }

// Latest holds how the session looks, for whoever asks.
func (s *Session) Latest() *Box { return &s.seen }

// Start starts a case without a voice, if none runs. It may be called from any
// goroutine.
func (s *Session) Start() { s.start.Store(true) }

// Step takes one block of the room and what the speaker played with it, and
// returns the block to play Lead blocks later. The result is valid until the
// next call.
func (s *Session) Step(room, speaker []float32) []float32 {
	s.before.add(room, speaker)
	s.now.hear(room, speaker)
	heard := s.listener.Hear(room, speaker)
	s.followWay()
	results, faults := s.ear.Hear(heard)
	s.now.sched.Speech(s.somebodySpeaks(heard))
	s.pos += int64(len(room))
	for _, f := range faults {
		s.recogniserFault(f)
	}
	for _, r := range results {
		s.listen(r)
	}
	if s.start.Swap(false) {
		s.startByHand()
	}
	s.now.step()
	s.turn()
	s.settle()
	s.player.Render(s.out)
	if s.pos%snapshotEvery < audio.Block {
		s.show()
	}
	return s.out
}

// somebodySpeaks reports whether there is speech in what is heard. Where our own
// voice is not taken out of it, it counts as nobody's.
func (s *Session) somebodySpeaks(heard []int16) bool {
	s.speech.Push(heard)
	tail := int64(s.o.echoes()) + audio.Rate/4 // the way back, and the endpointer's
	ours := s.o.Live && s.listener.echo == nil && s.player.Pos() < s.player.TalkUntil()+tail
	return s.speech.Speaking() && !ours
}

// Close ends the session: what was still undecided becomes events, without
// read-backs, and the records are finished.
func (s *Session) Close() error {
	for _, r := range s.ear.Close() {
		s.listen(r)
	}
	for _, sp := range s.now.sched.Silence() {
		s.now.log(sp)
	}
	s.finish(s.now)
	s.forgo()
	s.closing.Wait()
	return s.closeErr
}

func (s *Session) recogniserFault(text string) {
	id, kind := "fault.recogniser", timeline.Fault
	if text == intents.Back {
		id, kind = "fault.recogniser.back", timeline.Recovered
	}
	s.deaf = ""
	if kind == timeline.Fault {
		s.deaf = text
	}
	s.fault(kind, id, text)
}

// note logs a failure or recovery without saying it.
func (s *Session) note(kind timeline.Kind, text string) { s.now.note(kind, text) }

// greet says that coxswain listens and, before it, that a case was lost.
func (s *Session) greet() {
	c := timeline.Cue{ID: "opening", Priority: timeline.Advice}
	c.At, c.Expires = timeline.Seconds(0.5), timeline.Seconds(5)
	if s.o.Resume.Lost {
		s.fault(timeline.Fault, "fault.case", "a case that was cut off cannot go on")
		c.At, c.Expires = timeline.Seconds(5), timeline.Seconds(15)
	}
	s.now.offer(c)
}

// fault logs a failure or recovery and says it aloud.
func (s *Session) fault(kind timeline.Kind, id, text string) { s.now.fault(kind, id, text) }

// finish closes the record of a case, live without waiting for it.
func (s *Session) finish(c *oneCase) {
	if !c.kept() {
		return
	}
	closeIt := func() {
		if err := c.close(); err != nil {
			slog.Error("the record is not whole", "record", c.folder(), "why", err)
			s.mu.Lock()
			s.closeErr = errors.Join(s.closeErr, err)
			s.mu.Unlock()
		}
	}
	if s.o.Live {
		s.closing.Go(closeIt)
	} else {
		closeIt()
	}
}

// The session's two clocks are one.
var _ = [1]struct{}{}[audio.Rate-timeline.Rate]

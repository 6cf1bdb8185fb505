package session

import (
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"coxswain/audio"
	"coxswain/intents"
	"coxswain/prompts"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// oneCase is one case and its record. Its clock is the record's: it begins
// with the record's first sample, which is sample off of the session's clock.
// What is heard and said is on the session's clock and put onto its own here.
// A case knows nothing of the case before it.
type oneCase struct {
	o        *Options
	protocol *timeline.Protocol
	ledger   *ledger
	logger   *logger
	machine  *timeline.Machine
	player   *audio.Player
	sched    *prompts.Scheduler
	name     string // of the record, as it was begun; empty: nothing is kept
	named    func() string
	off      int64 // clock of the session at sample 0
	pos      int64 // clock: samples of the room heard
	events   []timeline.Event
	waiting  []held           // cues that wait for their event to be on the disk
	spoken   []prompts.Spoken // what sounded lately, to tell our own voice
	saying   uint64           // number of the event that tells of the last prompt
	saving   bool             // the record could be written a moment ago
	told     map[int]bool     // sentences of a drill's case that were told
	over     bool             // the drill's case has ended
	faults   int              // counted for the snapshot
	callouts int
	called   int64 // when something was last called
	asked    int64 // when it was asked whether the case goes on; 0: it was not
}

// held is a cue and the event that must be safe before it sounds.
type held struct {
	cue   timeline.Cue
	since int64
}

// ackPatience is how long a read-back waits for a slow disk before it is
// spoken all the same: the team must not wait for a disk.
const ackPatience = audio.Rate

// newCase begins a case whose sample 0 is sample off of the session's clock.
func newCase(o *Options, k Kept, player *audio.Player, off int64) *oneCase {
	c := &oneCase{
		o:        o,
		protocol: o.Protocol,
		player:   player,
		off:      off,
		name:     k.Name,
		named:    k.Named,
		ledger:   newLedger(k.Journal, o.Live && k.Name != ""),
		logger:   newLogger(k.Sound, o.Live && k.Name != ""),
		machine: timeline.NewMachine(
			o.Protocol,
			k.Events...),
		sched:  prompts.NewScheduler(o.Voice, player, o.Volume),
		saving: true,
		told:   map[int]bool{},
		events: slices.Clone(k.Events),
	}
	c.machine.SetRate(o.Rate)
	c.sched.SetFresh(c.fresh)
	for _, e := range k.Events { // of a case that goes on
		if e.Heard != nil {
			c.callouts++
		}
		if e.Kind == timeline.Fault {
			c.faults++
		}
	}
	if len(k.Events) == 0 {
		open := c.append(
			timeline.Event{
				Kind: timeline.SessionOpen,
				Session: &timeline.Session{
					Wall:       o.Wall.Add(audio.Duration(off)).Format(time.RFC3339Nano),
					Rate:       timeline.Rate,
					Software:   o.Software,
					Protocol:   o.Protocol.ID + " " + o.Protocol.Hash,
					Vocabulary: o.Vocabulary.Hash,
					Recogniser: o.Recogniser,
					Source:     o.Source,
					Caution:    Caution,
					Drill:      o.practice(),
					Former:     k.Former,
					Silent:     k.Until,
					Voice:      o.Profile,
					Boot:       o.Boot.After(audio.Duration(off)),
				},
			},
		)
		c.machine.Step(open, 0)
	}
	return c
}

// practice is what the record says of a drill; nil outside one.
func (o *Options) practice() *timeline.Drill {
	if o.Drill == nil {
		return nil
	}
	return &timeline.Drill{Case: o.Drill.ID, Team: o.Team, Silent: o.Silent}
}

// kept reports whether the case has a record.
func (s *oneCase) kept() bool { return s.name != "" }

// folder is the record's name, as it is now.
func (s *oneCase) folder() string {
	if s.named != nil {
		if name := s.named(); name != "" {
			return name
		}
	}
	return s.name
}

// now is the sample that is rendered next.
func (s *oneCase) now() timeline.Time { return timeline.Time(s.player.Pos() - s.off) }

// hear takes a block of sound into the record.
func (s *oneCase) hear(room, speaker []float32) {
	s.logger.Write(room, speaker)
	s.pos += int64(len(room))
}

// step does what the case wants done up to the samples that are rendered next.
func (s *oneCase) step() {
	s.checkSaving()
	for _, c := range s.machine.Tick(s.now() + audio.Block - 1) {
		if !s.o.Silent {
			s.offer(c)
		}
	}
	s.tell()
	s.release()
	s.metronome()
	for _, sp := range s.sched.Advance(audio.Block) {
		s.log(sp)
	}
}

// tell says the sentences of a drill's case that have become due, once each.
func (s *oneCase) tell() {
	if s.o.Drill == nil || s.pos%(audio.Block*10) != 0 {
		return
	}
	due, over := s.o.Drill.Told(s.events, s.now())
	for i := range s.o.Drill.Tell {
		if c, ok := due[i]; ok && !s.told[i] {
			s.told[i] = true
			s.offer(c)
		}
	}
	s.over = over
}

// append numbers an event and hands it to the journal.
func (s *oneCase) append(e timeline.Event) timeline.Event {
	e.Seq = uint64(len(s.events)) + 1 // here and nowhere else; the journal holds us to it
	s.events = append(s.events, e)
	s.ledger.Append(e)
	if m, ok := record.Mark(e); ok {
		s.logger.Mark(m)
	}
	if s.o.Watch != nil {
		s.o.Watch(e)
	}
	slog.Debug("event", "seq", e.Seq, "at", e.At, "kind", e.Kind) // no words: logs leave the unit
	return e
}

// take appends an event and lets the machine act on it.
func (s *oneCase) take(e timeline.Event) {
	e = s.append(e)
	ready := s.machine.Step(e, s.now())
	s.withdraw(ready)
	for _, more := range ready.Events {
		s.take(more)
	}
	for _, c := range ready.Cues {
		if s.o.Silent {
			plain, ok := c.Unasked()
			if !ok {
				continue
			}
			c = plain
		}
		c.Seq = uint64(len(s.events)) // the last event that the answer speaks of
		s.waiting = append(s.waiting, held{c, s.pos})
	}
}

// withdraw keeps cues from being said that answer what was taken back, that are
// no longer due or, when the case has ended, anything of it.
func (s *oneCase) withdraw(ready timeline.Ready) {
	back := func(c timeline.Cue) bool { return c.About != 0 && slices.Contains(ready.Withdrawn, c.About) }
	ended := func(c timeline.Cue) bool { return ready.Ended && c.Priority != timeline.Alarm }
	s.waiting = slices.DeleteFunc(s.waiting, func(h held) bool { return back(h.cue) || ended(h.cue) })
	s.sched.Withdraw("taken back", back)
	s.sched.Withdraw("the case has ended", ended)
	s.sched.Withdraw("no longer due", s.machine.Stale)
}

// heard puts a recogniser's result onto the case's clock.
func (s *oneCase) heard(r intents.Result) *timeline.Heard {
	const up = audio.Rate / audio.ListenRate
	at := func(n int64) timeline.Time { return timeline.Time(n*up - s.off) }
	return &timeline.Heard{
		Start:      at(r.Start),
		End:        at(r.End),
		Decided:    at(r.Decided),
		Text:       r.Text,
		Confidence: r.Confidence,
	}
}

// callout makes a recogniser's result an event.
func (s *oneCase) callout(r intents.Result) {
	h, values := s.heard(r), r.Values
	if len(values) == 0 {
		values = nil
	}
	e := timeline.Event{At: max(0, h.End), Kind: timeline.Kind(r.Callout), Values: values, Heard: h}
	s.takeDated(e, r)
	s.callouts, s.called, s.asked = s.callouts+1, s.pos, 0
	s.loudness(timeline.Kind(r.Callout))
}

// loudness follows "speak quietly" and "speak louder", 6 dB a step, never
// to silence: half of the configured volume is the least.
func (s *oneCase) loudness(k timeline.Kind) {
	full := s.o.Volume
	switch k {
	case timeline.Quiet:
		s.sched.SetVolume(full / 2)
	case timeline.Loud:
		s.sched.SetVolume(full)
	}
}

// offer queues a cue, on the session's clock.
func (s *oneCase) offer(c timeline.Cue) { s.sched.Offer(s.shifted(c, s.off)) }

// shifted is a cue on another clock, which runs ahead by so many samples.
func (s *oneCase) shifted(c timeline.Cue, by int64) timeline.Cue {
	c.At, c.Expires = c.At+timeline.Time(by), c.Expires+timeline.Time(by)
	return c
}

// fresh makes a cue that waits anew, as the case knows it: on its own clock.
func (s *oneCase) fresh(c timeline.Cue) (timeline.Cue, bool) {
	c, ok := s.machine.Fresh(s.shifted(c, -s.off))
	return s.shifted(c, s.off), ok
}

// release passes on the cues whose event is on the disk.
func (s *oneCase) release() {
	keep := s.waiting[:0]
	for _, w := range s.waiting {
		if w.cue.Seq <= s.ledger.Acked() || s.pos-w.since >= ackPatience {
			s.offer(w.cue)
		} else {
			keep = append(keep, w)
		}
	}
	s.waiting = keep
}

// metronome follows the state: when to beat, and whether to leave room for breaths.
func (s *oneCase) metronome() {
	st := s.machine.State()
	p := s.protocol.For(st)
	now := s.now()
	if !p.Metronome(st, now) {
		s.sched.StopBeat()
	} else {
		m := prompts.Metronome{Rate: p.Tempo(st, s.o.Rate), Start: s.player.Pos()}
		if st.WithBreaths(s.o.Mode) {
			m.Beats, m.Pause = int(p.Get("ratio_compressions")), int64(p.Span("breaths_pause_s"))
			if !st.Beat.NoBreaths {
				m.Breaths = int(p.Get("ratio_breaths"))
			}
		}
		s.sched.StartBeat(m)
	}
	if st.AirwayAt != timeline.Never && st.Ended == timeline.Never && !st.OfNewborn() && !st.MetronomeMuted &&
		!st.Beat.NoBreaths && !st.Silent(now) {
		s.sched.Breathe(int64(st.AirwayAt)+s.off, int64(p.Span("ventilation_s")))
	} else {
		s.sched.Breathe(-1, 0)
	}
}

// log records what was said, cut off or not said. A prompt is recorded when it
// begins; of one that is cut off a second event, in the place of the first, tells
// when it fell silent.
func (s *oneCase) log(sp prompts.Spoken) {
	off := timeline.Time(s.off)
	sp.At -= off
	if sp.Until != 0 {
		sp.Until -= off
	}
	s.machine.Spoken(sp.Cue)
	e := timeline.Event{At: sp.At, Kind: timeline.CueSpoken, Cue: sp.Cue.ID, Sentence: sp.Text, Until: sp.Until}
	switch {
	case sp.Dropped != "":
		e.Kind, e.Text = timeline.CueDropped, sp.Dropped
		s.append(e)
		return
	case sp.Cut:
		e.Cut, e.Replaces = true, s.saying
		s.spoken = s.spoken[:max(0, len(s.spoken)-1)]
	}
	if s.spoken = append(s.spoken, sp); len(s.spoken) > 8 {
		s.spoken = s.spoken[1:]
	}
	s.saying = s.append(e).Seq
}

// note appends a failure or recovery without saying it.
func (s *oneCase) note(kind timeline.Kind, text string) { s.failed(kind, "", text) }

// failed appends a failure or recovery; alarm is the cue that tells of it.
func (s *oneCase) failed(kind timeline.Kind, alarm, text string) {
	slog.Warn("fault", "what", text, "at", timeline.Time(s.pos))
	if kind == timeline.Fault {
		s.faults++
	}
	s.append(timeline.Event{At: timeline.Time(s.pos), Kind: kind, Cue: alarm, Text: text})
}

// fault appends a failure or recovery and says it aloud.
func (s *oneCase) fault(kind timeline.Kind, id, text string) {
	s.failed(kind, id, text)
	s.offer(timeline.Cue{ID: id, At: s.now(), Expires: s.now() + timeline.Seconds(10), Priority: timeline.Alarm})
}

// checkSaving notices, about twice a second, when the record cannot be written.
func (s *oneCase) checkSaving() {
	if s.pos/(audio.Block*50)*(audio.Block*50) != s.pos {
		return
	}
	why := s.ledger.Failing()
	if why == "" {
		why = s.logger.Failing()
	} else {
		s.ledger.Retry()
	}
	switch {
	case why != "" && s.saving:
		s.saving = false
		s.fault(timeline.Fault, "fault.disk", why)
	case why == "" && !s.saving:
		s.saving = true
		s.fault(timeline.Recovered, "fault.disk.back", "the record is saved again")
	}
}

// close finishes the record. It waits for the disk.
func (s *oneCase) close() error {
	lerr := s.logger.Close() // first: the journal gets the hash of the last sound before its close
	if why := s.logger.Failing(); why != "" && lerr == nil {
		lerr = errors.New(why)
	}
	s.append(timeline.Event{At: timeline.Time(s.pos), Kind: timeline.SessionClose})
	jerr := s.ledger.Close()
	if why := s.ledger.Failing(); why != "" {
		jerr = fmt.Errorf("events are missing at the end: %s", why)
	}
	if jerr == nil && lerr != nil {
		return fmt.Errorf("audio is missing: %w", lerr)
	}
	return jerr
}

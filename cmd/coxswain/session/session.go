package session

import (
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"time"

	"coxswain/audio"
	"coxswain/intents"
	"coxswain/prompts"
	"coxswain/timeline"
	"coxswain/timeline/drill"
	"coxswain/timeline/record"
)

// Session is the one loop: room block in, speaker block out. Everything it
// does depends on the blocks and on what the ear returns for them, never on
// the wall clock. A Session is for one goroutine; only Latest may be called
// from others.
type Session struct {
	o        Options
	protocol *timeline.Protocol
	ear      intents.Ear
	ledger   *ledger
	logger   *logger
	machine  *timeline.Machine
	player   *audio.Player
	voice    *prompts.Voice
	sched    *prompts.Scheduler
	listener *Listener
	out      []float32
	pos      int64 // clock: samples of the room heard
	base     int64 // clock sample that the recogniser began with
	events   []timeline.Event
	waiting  []held           // cues that wait for their event to be on the disk
	spoken   []prompts.Spoken // what sounded lately, to tell our own voice
	saving   bool             // the record could be written a moment ago
	drill    *drill.Case      // nil outside a drill
	told     map[int]bool     // sentences of the case that were told
	over     bool             // the case, or the session, has ended
	live     bool
	deaf     string // why the recogniser does not hear; empty: it does
	sound    string // whole, lost, or what it lacks
	faults   int    // counted for the snapshot
	callouts int
	seen     Box
}

// held is a cue and the event that must be safe before it sounds.
type held struct {
	cue   timeline.Cue
	since int64
}

// echoDelay is the longest way from our loudspeaker to our microphone.
const echoDelay = audio.Rate / 4

// ackPatience is how long a read-back waits for a slow disk before it is
// spoken all the same: the team must not wait for a disk.
const ackPatience = audio.Rate

// Options say what a session runs on. The zero value of a field that has no
// comment is not allowed.
type Options struct {
	Protocol   *timeline.Protocol
	Vocabulary *intents.Vocabulary
	Voice      *prompts.Voice
	Ear        intents.Ear
	Journal    Journal
	Sound      SoundLog
	Rate       float64              // metronome, compressions a minute
	Mode       string               // metronome: auto, ratio or continuous
	Volume     float64              // gain of everything played, 0 to 1
	Echo       bool                 // take our own sound out of what the ear hears
	LoopDelay  time.Duration        // least time from loudspeaker to microphone
	Record     string               // name of the record, for whoever looks
	Software   string               // our version
	Recogniser string               // name and version
	Source     string               // "device", or a file's name
	Wall       time.Time            // of sample 0
	Live       bool                 // the disk must not make the loop wait
	Drill      *drill.Case          // nil outside a drill
	Silent     bool                 // advice off: what is due is neither said nor asked
	Watch      func(timeline.Event) // sees every event as it is appended; nil: nobody does
	Resume     Resume               // a record to go on with; zero: a new one
}

// Resume is where a session that was cut off goes on.
type Resume struct {
	Events []timeline.Event // of the record; none: a new session
	Had    int64            // samples of audio that are there
	Pos    int64            // clock sample at which it goes on
}

// New starts a session, or goes on with one that was cut off. The session
// closes journal, recorder and ear when it is closed, not if New fails.
func New(o Options) (*Session, error) {
	for _, c := range o.Vocabulary.Callouts {
		if !timeline.Kind(c.ID).IsCallout() && !c.New {
			return nil, fmt.Errorf("vocabulary: callout %q is not one that the timeline knows: mark it new: true to log it all the same", c.ID)
		}
	}
	listener, err := NewListener(o.Echo, int(o.LoopDelay/(10*time.Millisecond))-1)
	if err != nil {
		return nil, err
	}
	s := &Session{o: o, protocol: o.Protocol, ear: o.Ear, ledger: newLedger(o.Journal, o.Live), logger: newLogger(o.Sound, o.Live),
		machine: timeline.NewMachine(o.Protocol, o.Resume.Events...), player: audio.NewPlayer(o.Resume.Pos + audio.Lead*audio.Block), listener: listener,
		out: make([]float32, audio.Block), saving: true, drill: o.Drill, voice: o.Voice, live: o.Live, told: map[int]bool{},
		pos: o.Resume.Pos, base: o.Resume.Pos, events: slices.Clone(o.Resume.Events)}
	s.sched = prompts.NewScheduler(o.Voice, s.player, o.Volume)
	if len(o.Resume.Events) > 0 {
		s.fault(timeline.Recovered, "resumed", fmt.Sprintf("the session goes on after a cut of %v", audio.Duration(o.Resume.Pos-o.Resume.Had).Round(time.Second)))
		return s, nil
	}
	s.append(timeline.Event{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: o.Wall.Format(time.RFC3339Nano), Rate: timeline.Rate,
		Software: o.Software, Protocol: o.Protocol.ID + " " + o.Protocol.Hash, Vocabulary: o.Vocabulary.Hash, Recogniser: o.Recogniser, Source: o.Source, Caution: Caution}})
	s.offer(timeline.Cue{ID: "opening", At: timeline.Seconds(0.5), Expires: timeline.Seconds(5), Priority: timeline.Advice})
	return s, nil
}

// Pos is the session's clock: samples of the room heard.
func (s *Session) Pos() int64 { return s.pos }

// Over reports whether the drill's case, or the session, has ended.
func (s *Session) Over() bool { return s.over }

// Latest holds how the session looks, for whoever asks.
func (s *Session) Latest() *Box { return &s.seen }

// Step takes one block of the room and what the speaker played with it, and
// returns the block to play Lead blocks later. The result is valid until the
// next call.
func (s *Session) Step(room, speaker []float32) []float32 {
	s.logger.Write(room, speaker)
	results, faults := s.ear.Hear(s.listener.Hear(room, speaker))
	s.pos += int64(len(room))
	for _, f := range faults {
		s.recogniserFault(f)
	}
	for _, r := range results {
		s.callout(r)
	}
	s.checkSaving()
	for _, c := range s.machine.Tick(timeline.Time(s.player.Pos() + audio.Block - 1)) {
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
	s.player.Render(s.out)
	if s.live && s.pos%snapshotEvery < audio.Block {
		s.show()
	}
	return s.out
}

// tell says the sentences of a drill's case that have become due, once each.
func (s *Session) tell() {
	if s.drill == nil || s.pos%(audio.Block*10) != 0 {
		return
	}
	due, over := s.drill.Told(s.events, timeline.Time(s.player.Pos()))
	for i := range s.drill.Tell {
		if c, ok := due[i]; ok && !s.told[i] {
			s.told[i] = true
			s.offer(c)
		}
	}
	s.over = over
}

// append numbers an event and hands it to the journal.
func (s *Session) append(e timeline.Event) timeline.Event {
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
func (s *Session) take(e timeline.Event) {
	e = s.append(e)
	ready := s.machine.Step(e, timeline.Time(s.player.Pos()))
	s.withdraw(ready)
	for _, more := range ready.Events {
		s.take(more)
	}
	for _, c := range ready.Cues {
		if s.o.Silent && strings.HasPrefix(c.ID, "question.") {
			continue
		}
		c.Seq = uint64(len(s.events)) // the last event that the answer speaks of
		s.waiting = append(s.waiting, held{c, s.pos})
	}
}

// withdraw keeps cues from being said that answer what was taken back or, when
// the case has ended, anything of it.
func (s *Session) withdraw(ready timeline.Ready) {
	if !ready.Ended && len(ready.Withdrawn) == 0 {
		return
	}
	gone := func(c timeline.Cue) bool {
		return ready.Ended && c.Priority != timeline.Alarm || c.About != 0 && slices.Contains(ready.Withdrawn, c.About)
	}
	s.waiting = slices.DeleteFunc(s.waiting, func(h held) bool { return gone(h.cue) })
	s.sched.Withdraw(gone)
}

// callout makes a recogniser's result an event.
func (s *Session) callout(r intents.Result) {
	const up = audio.Rate / audio.ListenRate
	at := func(n int64) timeline.Time { return timeline.Time(s.base + n*up) }
	h := &timeline.Heard{Start: at(r.Start), End: at(r.End), Decided: at(r.Decided), Text: r.Text, Confidence: r.Confidence}
	if s.ownVoice(h) {
		slog.Debug("own voice", "callout", r.Callout)
		return
	}
	values := r.Values
	if len(values) == 0 {
		values = nil
	}
	s.take(timeline.Event{At: h.End, Kind: timeline.Kind(r.Callout), Values: values, Heard: h})
	s.callouts++
	s.loudness(timeline.Kind(r.Callout))
}

// loudness follows "speak quietly" and "speak louder", 6 dB a step, never
// to silence: half of the configured volume is the least.
func (s *Session) loudness(k timeline.Kind) {
	full := s.o.Volume
	switch k {
	case timeline.Quiet:
		s.sched.SetVolume(full / 2)
	case timeline.Loud:
		s.sched.SetVolume(full)
	}
}

// ownVoice reports whether the words lie within a prompt of ours that says
// them, and were heard while it sounded: what comes back from the loudspeaker
// is no callout. A leader who says them after us is heard.
func (s *Session) ownVoice(h *timeline.Heard) bool {
	plain := func(t string) string {
		return " " + strings.Join(strings.FieldsFunc(strings.ToLower(t), func(r rune) bool { return r < 'a' || r > 'z' }), " ") + " "
	}
	for _, sp := range s.spoken {
		if h.Start > sp.At && h.End < sp.Until+echoDelay && strings.Contains(plain(sp.Text), plain(h.Text)) {
			return true
		}
	}
	return false
}

func (s *Session) offer(c timeline.Cue) { s.sched.Offer(c) }

// release passes on the cues whose event is on the disk.
func (s *Session) release() {
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
func (s *Session) metronome() {
	st := s.machine.State()
	p := s.protocol.For(st)
	now := timeline.Time(s.player.Pos())
	if !st.Metronome(now) {
		s.sched.StopBeat()
	} else {
		m := prompts.Metronome{Rate: s.o.Rate, Start: int64(now)}
		if mode := s.o.Mode; mode == "ratio" || mode == "auto" && st.AirwayAt == timeline.Never {
			m.Beats = int(p.Get("ratio_compressions"))
			m.Pause = int64(p.Span("breaths_pause_s"))
		}
		s.sched.StartBeat(m)
	}
	if st.AirwayAt != timeline.Never && st.Ended == timeline.Never && !st.MetronomeMuted && !st.Silent(now) {
		s.sched.Breathe(int64(st.AirwayAt), int64(p.Span("ventilation_s")))
	} else {
		s.sched.Breathe(-1, 0)
	}
}

// log records what was said, or not said.
func (s *Session) log(sp prompts.Spoken) {
	e := timeline.Event{At: sp.At, Kind: timeline.CueSpoken, Cue: sp.Cue.ID, Sentence: sp.Text, Until: sp.Until}
	if sp.Dropped != "" {
		e.Kind, e.Sentence, e.Text = timeline.CueDropped, "", sp.Dropped
	} else {
		if s.spoken = append(s.spoken, sp); len(s.spoken) > 8 {
			s.spoken = s.spoken[1:]
		}
	}
	s.append(e)
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

// note appends a failure or recovery without saying it.
func (s *Session) note(kind timeline.Kind, text string) { s.failed(kind, "", text) }

// failed appends a failure or recovery; alarm is the cue that tells of it.
func (s *Session) failed(kind timeline.Kind, alarm, text string) {
	slog.Warn("fault", "what", text, "at", timeline.Time(s.pos))
	if kind == timeline.Fault {
		s.faults++
	}
	s.append(timeline.Event{At: timeline.Time(s.pos), Kind: kind, Cue: alarm, Text: text})
}

// fault appends a failure or recovery and says it aloud.
func (s *Session) fault(kind timeline.Kind, id, text string) {
	s.failed(kind, id, text)
	s.offer(timeline.Cue{ID: id, At: timeline.Time(s.player.Pos()), Expires: timeline.Time(s.player.Pos()) + timeline.Seconds(10), Priority: timeline.Alarm})
}

// checkSaving notices, about twice a second, when the record cannot be written.
func (s *Session) checkSaving() {
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

// Close ends the session: what was still undecided becomes events, without
// read-backs, and the record is finished.
func (s *Session) Close() error {
	for _, r := range s.ear.Close() {
		s.callout(r)
	}
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

// The session's two clocks are one.
var _ = [1]struct{}{}[audio.Rate-timeline.Rate]

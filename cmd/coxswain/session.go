package main

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync/atomic"
	"time"

	"coxswain/audio"
	"coxswain/intents"
	"coxswain/prompts"
	"coxswain/timeline"
)

// session is the one loop: room block in, speaker block out. Everything it
// does depends on the blocks and on what the ear returns for them, never on
// the wall clock.
type session struct {
	conf     *conf
	protocol *timeline.Protocol
	ear      intents.Ear
	ledger   *ledger
	logger   *logger
	machine  *timeline.Machine
	player   *audio.Player
	voice    *prompts.Voice
	sched    *prompts.Scheduler
	listener *listener
	out      []float32
	pos      int64 // clock: samples of the room heard
	base     int64 // clock sample that the recogniser began with
	seq      uint64
	events   []timeline.Event
	waiting  []held           // cues that wait for their event to be on the disk
	spoken   []prompts.Spoken // what sounded lately, to tell our own voice
	saving   bool             // the record could be written a moment ago
	drill    *timeline.Case   // nil outside a drill
	told     map[int]bool     // sentences of the case that were told
	over     bool             // the case, or the session, has ended
	dir      string
	live     bool
	deaf     string // why the recogniser does not hear; empty: it does
	sound    string // whole, lost, or what it lacks
	faults   int    // counted for the snapshot
	callouts int
	seen     snapshotBox
}

// snapshotBox holds the latest snapshot: the session puts, anyone looks.
type snapshotBox struct{ p atomic.Pointer[snapshot] }

func (b *snapshotBox) Store(n *snapshot) { b.p.Store(n) }

// Load returns the latest snapshot, never nil.
func (b *snapshotBox) Load() *snapshot {
	if n := b.p.Load(); n != nil {
		return n
	}
	return &snapshot{Caution: Caution, State: "starting", Recogniser: "starting"}
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

type sessionOptions struct {
	conf       *conf
	vocabulary *intents.Vocabulary
	dir        string
	ear        intents.Ear
	recogniser string
	source     string
	wall       time.Time
	live       bool
	drill      *timeline.Case                              // nil outside a drill
	echoed     bool                                        // a replayed recording heard what coxswain says
	resume     cut                                         // a record to go on with; zero: a new one
	disk       func(journal, soundLog) (journal, soundLog) // a test's bad disk; nil: as it is
}

// newSession makes the record's folder and starts journal and audio log in it,
// or goes on with a record that was cut off.
func newSession(o sessionOptions) (*session, error) {
	p, err := o.conf.protocol()
	if err != nil {
		return nil, err
	}
	for _, c := range o.vocabulary.Callouts {
		if !timeline.Kind(c.ID).IsCallout() && !c.New {
			return nil, fmt.Errorf("vocabulary: callout %q is not one that the timeline knows: mark it new: true to log it all the same", c.ID)
		}
	}
	voice, err := prompts.NewVoice(o.conf.v.GetString("clips"))
	if err != nil {
		return nil, err
	}
	listener, err := newListener((o.live || o.echoed) && o.conf.v.GetBool("cancel_echo"), o.conf.v.GetInt("loop_delay_ms")/10-1)
	if err != nil {
		return nil, err
	}
	j, rec, err := openRecord(&o)
	if err != nil {
		return nil, err
	}
	var events journal = j
	var sound soundLog = rec
	if o.disk != nil {
		events, sound = o.disk(j, rec)
	}
	s := &session{conf: o.conf, protocol: p, ear: o.ear, ledger: newLedger(events, o.live), logger: newLogger(sound, o.live),
		machine: timeline.NewMachine(p, o.resume.events...), player: audio.NewPlayer(o.resume.pos + audio.Lead*audio.Block), listener: listener,
		out: make([]float32, audio.Block), saving: true, drill: o.drill, voice: voice, dir: o.dir, live: o.live, told: map[int]bool{},
		pos: o.resume.pos, base: o.resume.pos, seq: uint64(len(o.resume.events)), events: o.resume.events}
	s.sched = prompts.NewScheduler(voice, s.player, o.conf.v.GetFloat64("volume"))
	if o.resume.dir != "" {
		s.fault(timeline.Recovered, "resumed", fmt.Sprintf("the session goes on after a cut of %v", audio.Duration(o.resume.pos-o.resume.had).Round(time.Second)))
		return s, nil
	}
	s.append(timeline.Event{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: o.wall.Format(time.RFC3339Nano), Rate: timeline.Rate,
		Software: "coxswain " + Version, Protocol: p.ID + " " + p.Hash, Vocabulary: o.vocabulary.Hash, Recogniser: o.recogniser, Source: o.source, Caution: Caution}})
	s.offer(timeline.Cue{ID: "opening", At: timeline.Seconds(0.5), Expires: timeline.Seconds(5), Priority: timeline.Advice})
	return s, nil
}

// Step takes one block of the room and what the speaker played with it, and
// returns the block to play Lead blocks later. The result is valid until the
// next call.
func (s *session) Step(room, speaker []float32) []float32 {
	s.logger.Write(room, speaker)
	results, faults := s.ear.Hear(s.listener.hear(room, speaker))
	s.pos += int64(len(room))
	for _, f := range faults {
		s.recogniserFault(f)
	}
	for _, r := range results {
		s.callout(r)
	}
	s.checkSaving()
	for _, c := range s.machine.Tick(timeline.Time(s.player.Pos() + audio.Block - 1)) {
		s.offer(c)
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
func (s *session) tell() {
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
func (s *session) append(e timeline.Event) timeline.Event {
	s.seq++
	e.Seq = s.seq
	s.events = append(s.events, e)
	s.ledger.Append(e)
	if m, ok := mark(e); ok {
		s.logger.Mark(m)
	}
	slog.Debug("event", "seq", e.Seq, "at", e.At, "kind", e.Kind) // no words: logs leave the unit
	return e
}

// take appends an event and lets the machine act on it.
func (s *session) take(e timeline.Event) {
	e = s.append(e)
	ready := s.machine.Step(e, timeline.Time(s.player.Pos()))
	for _, more := range ready.Events {
		s.take(more)
	}
	for _, c := range ready.Cues {
		c.Seq = s.seq // the last event that the answer speaks of
		s.waiting = append(s.waiting, held{c, s.pos})
	}
}

// callout makes a recogniser's result an event.
func (s *session) callout(r intents.Result) {
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
func (s *session) loudness(k timeline.Kind) {
	full := s.conf.v.GetFloat64("volume")
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
func (s *session) ownVoice(h *timeline.Heard) bool {
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

func (s *session) offer(c timeline.Cue) { s.sched.Offer(c) }

// release passes on the cues whose event is on the disk.
func (s *session) release() {
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
func (s *session) metronome() {
	st := s.machine.State()
	p := s.protocol.For(st)
	if !st.Metronome() {
		s.sched.StopBeat()
	} else {
		m := prompts.Metronome{Rate: s.conf.v.GetFloat64("rate"), Start: s.player.Pos()}
		if mode := s.conf.v.GetString("mode"); mode == "ratio" || mode == "auto" && st.AirwayAt == timeline.Never {
			m.Beats = int(p.Get("ratio_compressions"))
			m.Pause = int64(p.Span("breaths_pause_s"))
		}
		s.sched.StartBeat(m)
	}
	if st.AirwayAt != timeline.Never && st.Ended == timeline.Never && !st.MetronomeMuted {
		s.sched.Breathe(int64(st.AirwayAt), int64(p.Span("ventilation_s")))
	} else {
		s.sched.Breathe(-1, 0)
	}
}

// log records what was said, or not said.
func (s *session) log(sp prompts.Spoken) {
	e := timeline.Event{At: sp.At, Kind: timeline.CueSpoken, Text: sp.Cue.ID + ": " + sp.Text}
	if sp.Dropped != "" {
		e.Kind, e.Text = timeline.CueDropped, sp.Cue.ID+": "+sp.Dropped
	} else {
		if s.spoken = append(s.spoken, sp); len(s.spoken) > 8 {
			s.spoken = s.spoken[1:]
		}
	}
	s.append(e)
}

func (s *session) recogniserFault(text string) {
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
func (s *session) note(kind timeline.Kind, text string) {
	slog.Warn("fault", "what", text, "at", timeline.Time(s.pos))
	if kind == timeline.Fault {
		s.faults++
	}
	s.append(timeline.Event{At: timeline.Time(s.pos), Kind: kind, Text: text})
}

// fault appends a failure or recovery and says it aloud.
func (s *session) fault(kind timeline.Kind, id, text string) {
	s.note(kind, text)
	s.offer(timeline.Cue{ID: id, At: timeline.Time(s.player.Pos()), Expires: timeline.Time(s.player.Pos()) + timeline.Seconds(10), Priority: timeline.Alarm})
}

// checkSaving notices, about twice a second, when the record cannot be written.
func (s *session) checkSaving() {
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
func (s *session) Close() error {
	for _, r := range s.ear.Close() {
		s.callout(r)
	}
	s.append(timeline.Event{At: timeline.Time(s.pos), Kind: timeline.SessionClose})
	jerr := s.ledger.Close()
	if why := s.ledger.Failing(); why != "" {
		jerr = fmt.Errorf("events are missing at the end: %s", why)
	}
	lerr := s.logger.Close()
	if why := s.logger.Failing(); why != "" && lerr == nil {
		lerr = errors.New(why)
	}
	if jerr == nil && lerr != nil {
		return fmt.Errorf("audio is missing: %w", lerr)
	}
	return jerr
}

// The session's two clocks are one.
var _ = [1]struct{}{}[audio.Rate-timeline.Rate]

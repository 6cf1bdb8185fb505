package session

import (
	"fmt"
	"slices"
	"sync/atomic"

	"coxswain/timeline"
)

// Caution stands at the start of every session, in every report and in the README.
const Caution = "coxswain supports a trained team. It is not a medical device. " +
	"Follow local protocol and licensed judgement."

// Snapshot is what the session looks like from outside: for the status
// command, the wall display and the metrics. Times are seconds; null is "never".
type Snapshot struct {
	Caution    string   `json:"caution"`
	Record     string   `json:"record"`
	Session    float64  `json:"session_s"`
	Code       *float64 `json:"code_s"`       // since the code started
	CycleLeft  *float64 `json:"cycle_left_s"` // negative: over
	Paused     *float64 `json:"paused_s"`     // hands off since
	State      string   `json:"state"`
	Rhythm     string   `json:"rhythm"`
	Shocks     int      `json:"shocks"`
	Cycle      float64  `json:"cycle_s"` // length of a whole one
	Given      []Given  `json:"given"`
	Loud       bool     `json:"loud"` // so loud that callouts are likely to be missed
	Due        []Due    `json:"due"`
	Newborn    bool     `json:"newborn"`          // one lies there: nothing is due and no cycle runs
	Last       []Heard  `json:"last"`             // newest first
	Unclear    *float64 `json:"not_understood_s"` // since we last asked what was called; null once something was
	Microphone float64  `json:"microphone_dbfs"`
	Recogniser string   `json:"recogniser"` // "hears", or why not
	Sound      string   `json:"sound"`      // "whole", "lost", what it lacks, or how much of it is lost
	Lost       float64  `json:"sound_lost"` // share of the last half minute's sound that never came, 0 to 1
	Beats      Beats    `json:"beats"`
	Saving     bool     `json:"saving"`
	Faults     int      `json:"faults"`
	Callouts   int      `json:"callouts"`
	Echo       float64  `json:"echo_return_loss_enhancement_db"`
	Healthy    bool     `json:"healthy"`
}

// Due is something that the protocol will ask for.
type Due struct {
	Text string  `json:"text"`
	In   float64 `json:"in_s"` // negative: overdue
}

// Heard is a callout that was taken.
type Heard struct {
	Ago  float64 `json:"ago_s"`
	Text string  `json:"text"`
	Sure float64 `json:"sure"`
}

// mostLost is the share of the sound that may be lost before coxswain counts as hearing
// badly: every twentieth callout; common practice, no source.
const mostLost = 0.05

// snapshotEvery is how often the session shows itself, in samples.
const snapshotEvery = timeline.Rate / 4

// show publishes a snapshot of the session for whoever looks.
func (s *Session) show() {
	c := s.now
	now := timeline.Time(c.pos)
	st := c.machine.State()
	p := c.protocol.For(st)
	n := &Snapshot{
		Caution:    Caution,
		Record:     c.folder(),
		Session:    now.Seconds(),
		Rhythm:     rhythmText(st),
		Shocks:     len(st.Shocks),
		State:      stateText(st),
		Microphone: s.listener.dBFS(),
		Recogniser: "hears",
		Sound:      s.sound,
		Saving:     c.saving,
		Faults:     c.faults,
		Callouts:   c.callouts,
		Echo:       s.listener.Enhancement(),
		Due:        []Due{},
		Last:       []Heard{},
	}
	since := func(t timeline.Time) *float64 {
		if t == timeline.Never {
			return nil
		}
		x := (now - t).Seconds()
		return &x
	}
	if s.deaf != "" {
		n.Recogniser = s.deaf
	}
	if !s.o.Live { // no device that could fail
		n.Sound = "whole"
	}
	if n.Lost = s.lostShare; n.Sound == "whole" && n.Lost > mostLost {
		n.Sound = fmt.Sprintf("%.0f %% lost", 100*n.Lost)
	}
	n.Beats = s.beats
	n.Healthy = s.deaf == "" && c.saving && n.Sound == "whole" && !n.Beats.Uneven
	if st.Ended == timeline.Never {
		n.Code = since(st.CodeAt())
		if !st.OnECMO() {
			n.Paused = since(st.PausedFrom)
		}
		n.CycleLeft = cycleLeft(p, st, now)
		n.Cycle, n.Given = p.Get("cycle_s"), given(st, now, p.Words)
		n.Due, n.Newborn = c.dueNow(p, st, now), st.OfNewborn()
	}
	n.Loud = n.Microphone > loudFrom
	if !c.kept() {
		n.State = "listening, no case"
	}
	n.Last, n.Unclear = c.lastFive(now), since(c.unclear())
	s.seen.Store(n)
}

// cycleLeft is what is left of the cycle, in seconds; nil if none runs.
func cycleLeft(p *timeline.Protocol, st timeline.State, now timeline.Time) *float64 {
	if st.CycleFrom == timeline.Never || st.OfNewborn() {
		return nil
	}
	left := p.Get("cycle_s") - (now - st.CycleFrom).Seconds()
	return &left
}

// dueNow lists what to do, three things at most: the drugs and checks that are overdue or
// come within two minutes, soonest first, and before them what "what is next" is
// answered with, if that is to be done at once.
func (s *oneCase) dueNow(p *timeline.Protocol, st timeline.State, now timeline.Time) []Due {
	out := []Due{}
	for _, c := range p.Agenda(st, now+timeline.Seconds(120)) {
		cycle := c.ID == "cycle.end"
		if c.Priority != timeline.Due && !cycle || c.At > now+timeline.Seconds(120) || cycle && !st.Compressing {
			continue
		}
		d := Due{s.o.Voice.Written(c), (c.At - now).Seconds()}
		if !slices.ContainsFunc(out, func(x Due) bool { return x.Text == d.Text }) { // the same thing, repeated
			out = append(out, d)
		}
	}
	if c, first, ok := s.machine.Now(now); ok && (first || len(out) == 0 || out[0].In > 0) {
		out = append([]Due{{s.o.Voice.Written(c), 0}}, out...)
	}
	return out[:min(3, len(out))]
}

func (s *oneCase) lastFive(now timeline.Time) []Heard {
	out := []Heard{}
	for i := len(s.events) - 1; i >= max(0, len(s.events)-200) && len(out) < 5; i-- {
		e := s.events[i]
		if e.Heard == nil || e.Kind == timeline.Question { // one that was asked about is none
			continue
		}
		out = append(out, Heard{(now - e.At).Seconds(), timeline.Reword(s.protocol.Words, e.Words()), e.Heard.Confidence})
	}
	return out
}

// unclear is when it was last asked what had been called; Never if something was
// called since.
func (s *oneCase) unclear() timeline.Time {
	for i := len(s.events) - 1; i >= max(0, len(s.events)-30); i-- {
		switch e := s.events[i]; {
		case e.Heard == nil:
		case e.Kind == timeline.Question:
			return e.At
		default:
			return timeline.Never
		}
	}
	return timeline.Never
}

func stateText(st timeline.State) string {
	switch {
	case st.Started == timeline.Never && st.PulsePresent:
		return "pulse present"
	case st.Started == timeline.Never:
		return "no code yet"
	case st.Ended != timeline.Never:
		return "code ended"
	case st.Clear():
		return "clear"
	case st.PulsePresent:
		return "pulse present"
	case st.Compressing:
		return "compressing"
	}
	return "hands off"
}

// rhythmText is the rhythm that was called last, unless the pulse that was felt since says
// that it is over.
func rhythmText(st timeline.State) string {
	if st.PulsePresent && st.Rhythm.Pulseless() {
		return ""
	}
	return string(st.Rhythm)
}

// Box holds the latest snapshot: the session puts, anyone looks.
type Box struct{ p atomic.Pointer[Snapshot] }

// Store puts a snapshot, which nobody may change from then on.
func (b *Box) Store(n *Snapshot) { b.p.Store(n) }

// Load returns the latest snapshot, never nil.
func (b *Box) Load() *Snapshot {
	if n := b.p.Load(); n != nil {
		return n
	}
	return &Snapshot{Caution: Caution, State: "starting", Recogniser: "starting"}
}

package timeline

import (
	"fmt"
	"sort"
	"strings"
)

// Priority orders cues: a higher one is said first and may cut a lower one.
type Priority int

// Priorities, lowest first.
const (
	Advice   Priority = iota + 1 // can wait for a gap
	Answer                       // somebody asked
	Due                          // a drug is due
	Cycle                        // the 2-minute cycle
	HandsOff                     // nobody compresses
	ReadBack                     // closes the loop: at once
	Alarm                        // coxswain itself is failing
)

// Cue is something to say at a moment of session time. It is data: package
// prompts turns it into sound.
type Cue struct {
	ID       string // names the sentence in prompts/cues.yaml
	At       Time   // when it should sound
	Expires  Time   // after this it is no longer worth saying
	Priority Priority
	Values   map[string]float64
	Items    []string // a list to read out
	Seq      uint64   // event it answers, 0 if it came from the clock
}

// Describe returns the cue on one line.
func (c Cue) Describe() string {
	return fmt.Sprintf("%s %s", c.At, Event{Kind: Kind(c.ID), Values: c.Values}.Describe())
}

// key names what is said once: a pause is the same pause after "everybody clear".
func (c Cue) key() string {
	return fmt.Sprintf("%s@%d", strings.Replace(c.ID, "clear.", "pause.", 1), c.At)
}

func due(id string, at, keep Time, p Priority) Cue {
	return Cue{ID: id, At: at, Expires: at + keep, Priority: p}
}

// Agenda lists what the state makes due, past and future, by time. It is the
// protocol: a function of the state alone, so that asking "what is next" and
// being told in time come from the same rule.
func (p *Protocol) Agenda(s State) []Cue {
	if !s.InArrest() {
		return nil
	}
	out := append(p.pauses(s), p.cycle(s)...)
	out = append(out, p.epinephrine(s)...)
	out = append(out, p.antiarrhythmic(s)...)
	sort.SliceStable(out, func(i, j int) bool { return out[i].At < out[j].At })
	return out
}

// pauses: hands-off time at the warning, at the limit, and at each limit after.
func (p *Protocol) pauses(s State) []Cue {
	if s.PausedFrom == Never {
		return nil
	}
	warn, limit := p.Span("pause_warning_s"), p.Span("pause_limit_s")
	id := "pause"
	if s.FirstCompression == Never {
		id = "start"
	}
	if s.clear() { // a shock is about to be given: nobody may be told to touch the patient
		id = "clear"
	}
	out := []Cue{due(id+".warning", s.PausedFrom+warn, Seconds(2), HandsOff)}
	for k := Time(1); k <= 6; k++ {
		c := due(id+".limit", s.PausedFrom+k*limit, Seconds(2), HandsOff)
		c.Values = map[string]float64{"seconds": (k * limit).Seconds()}
		out = append(out, c)
	}
	return out
}

// clear reports whether everybody was called clear in this pause and the shock
// has not been given yet.
func (s State) clear() bool {
	if s.ClearAt == Never || s.ClearAt < s.PausedFrom {
		return false
	}
	return len(s.Shocks) == 0 || s.Shocks[len(s.Shocks)-1].At < s.ClearAt
}

func (p *Protocol) cycle(s State) []Cue {
	if s.CycleFrom == Never || !s.Compressing {
		return nil
	}
	end := s.CycleFrom + p.Span("cycle_s")
	return []Cue{
		due("cycle.soon", end-p.Span("cycle_warning_s"), Seconds(4), Cycle),
		due("cycle.end", end, Seconds(3), Cycle),
		due("cycle.over", end+Seconds(30), Seconds(3), Cycle),
		due("cycle.over", end+Seconds(60), Seconds(3), Cycle),
	}
}

// settle lets the read-back of the event that made something due go first.
var settle = Seconds(3)

func (p *Protocol) epinephrine(s State) []Cue {
	dose := map[string]float64{"dose_mg": p.Get("epinephrine_mg")}
	if n := len(s.Epinephrine); n > 0 {
		last := s.Epinephrine[n-1].At
		out := []Cue{due("epinephrine.due", last+p.Span("epinephrine_due_s"), Seconds(20), Due)}
		for k := Time(0); k < 5; k++ {
			out = append(out, due("epinephrine.overdue", last+p.Span("epinephrine_overdue_s")+k*Seconds(60), Seconds(20), Due))
		}
		for i := range out {
			out[i].Values = dose
		}
		return out
	}
	from, ok := p.firstEpinephrine(s)
	if !ok {
		return nil
	}
	var out []Cue
	for k := Time(0); k < 5; k++ {
		c := due("epinephrine.first", from+settle+k*Seconds(60), Seconds(20), Due)
		c.Values = dose
		out = append(out, c)
	}
	return out
}

// firstEpinephrine: at once in a rhythm that no shock helps, otherwise after
// the protocol's number of shocks.
func (p *Protocol) firstEpinephrine(s State) (Time, bool) {
	if s.Rhythm == PEA || s.Rhythm == Asystole {
		return s.RhythmAt, true
	}
	return nthShock(s, int(p.Get("epinephrine_after_shock")))
}

func (p *Protocol) antiarrhythmic(s State) []Cue {
	n := s.Antiarrhythmics()
	if n >= len(p.Antiarrhythmics) || !s.Rhythm.Shockable() {
		return nil
	}
	a := p.Antiarrhythmics[n]
	from, ok := nthShock(s, a.AfterShock)
	if !ok {
		return nil
	}
	c := due("antiarrhythmic."+a.Drug, from+2*settle, Seconds(30), Advice)
	c.Values = map[string]float64{"dose_mg": a.DoseMg}
	return []Cue{c}
}

// nthShock returns when the n-th defibrillation was given (n from 1).
func nthShock(s State, n int) (Time, bool) {
	for _, x := range s.Shocks {
		if !x.Synced {
			if n--; n <= 0 {
				return x.At, true
			}
		}
	}
	return 0, false
}

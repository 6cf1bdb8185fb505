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
	Parts    []Cue    // sentences that follow
	Say      string   // words of a drill's case, instead of the sentence of ID
	Seq      uint64   // event it answers, 0 if it came from the clock
}

// Describe returns the cue on one line.
func (c Cue) Describe() string {
	s := fmt.Sprintf("%s %s", c.At, Event{Kind: Kind(c.ID), Values: c.Values}.Describe())
	if len(c.Items) > 0 {
		s += " [" + strings.Join(c.Items, ", ") + "]"
	}
	for _, p := range c.Parts {
		s += " + " + Event{Kind: Kind(p.ID), Values: p.Values}.Describe()
	}
	return s
}

// key names what is said once: a pause is the same pause after "everybody clear".
func (c Cue) key() string {
	return fmt.Sprintf("%s@%d", strings.Replace(c.ID, "clear.", "pause.", 1), c.At)
}

// with returns the cue with a number to speak.
func (c Cue) with(name string, value float64) Cue {
	values := map[string]float64{name: value}
	for k, v := range c.Values {
		values[k] = v
	}
	c.Values = values
	return c
}

func due(id string, at, keep Time, p Priority) Cue {
	return Cue{ID: id, At: at, Expires: at + keep, Priority: p}
}

// Agenda lists what the state makes due, past and future, by time. It is the
// protocol: a function of the state alone, so that asking "what is next" and
// being told in time come from the same rule.
func (p *Protocol) Agenda(s State) []Cue {
	p = p.For(s)
	var out []Cue
	if s.InArrest() {
		out = append(p.pauses(s), p.cycle(s)...)
		out = append(out, p.epinephrine(s)...)
		out = append(out, p.antiarrhythmic(s)...)
		out = append(out, p.special(s)...)
	} else if !s.Dead {
		out = append(p.afterReturn(s), p.withPulse(s)...)
	}
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
	out := []Cue{due(id+".warning", s.PausedFrom+warn, Seconds(2), HandsOff).with("seconds", warn.Seconds())}
	for k := Time(1); k <= 6; k++ {
		out = append(out, due(id+".limit", s.PausedFrom+k*limit, Seconds(2), HandsOff).with("seconds", (k*limit).Seconds()))
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
	minutes := p.Get("cycle_s") / 60
	return []Cue{
		due("cycle.soon", end-p.Span("cycle_warning_s"), Seconds(4), Cycle).with("seconds", p.Get("cycle_warning_s")),
		due("cycle.end", end, Seconds(3), Cycle),
		due("cycle.over", end+Seconds(30), Seconds(3), Cycle).with("minutes", minutes),
		due("cycle.over", end+Seconds(60), Seconds(3), Cycle).with("minutes", minutes),
	}
}

func (p *Protocol) epinephrine(s State) []Cue {
	if given := s.Given["epinephrine"]; len(given) > 0 {
		last, from, late := given[len(given)-1].At, p.Span("epinephrine_due_s"), p.Span("epinephrine_overdue_s")
		out := []Cue{p.say(due("epinephrine.due", last+from, Seconds(20), Due), "epinephrine_due_s", "minutes")}
		for k := Time(0); k < 5; k++ {
			out = append(out, p.say(due("epinephrine.overdue", last+late+k*Seconds(60), Seconds(20), Due), "epinephrine_overdue_s", "minutes"))
		}
		return out
	}
	from, ok := p.firstEpinephrine(s)
	if !ok {
		return nil
	}
	var out []Cue
	for k := Time(0); k < 5; k++ {
		out = append(out, p.consider("epinephrine.first", "epinephrine", s, from+p.Span("settle_s")+k*Seconds(60), Seconds(20), Due))
	}
	return out
}

// firstEpinephrine: at once in a rhythm that no shock helps, otherwise after
// the protocol's number of shocks.
func (p *Protocol) firstEpinephrine(s State) (Time, bool) {
	if s.Rhythm == PEA || s.Rhythm == Asystole {
		return s.RhythmAt + p.Span("epinephrine_nonshockable_s"), true
	}
	return nthShock(s, int(p.Get("epinephrine_after_shock")))
}

// consider is a cue that names a drug's next dose. Without the weight that the
// dose depends on, it asks for the weight instead of a number.
func (p *Protocol) consider(id, drug string, s State, at, keep Time, prio Priority) Cue {
	kg, _ := p.Weight(s)
	dose, ok := p.Dose(drug, len(s.Given[drug]), kg)
	return due(id, at, keep, prio).withAmount("dose_mg", dose, ok)
}

// withAmount returns the cue with a computed amount to speak or, if there is
// none, with what to do instead: say the weight, take the device's maximum, or
// look at the local chart.
func (c Cue) withAmount(name string, amount Computed, ok bool) Cue {
	switch {
	case ok:
		return c.with(name, amount.Value)
	case amount.Amount.Maximum:
		c.Parts = []Cue{{ID: "dose.maximum"}}
	case amount.Amount.PerKg > 0:
		c.Parts = []Cue{{ID: "weight.unknown"}}
	default:
		c.Parts = []Cue{{ID: "dose.check"}}
	}
	return c
}

func (p *Protocol) antiarrhythmic(s State) []Cue {
	if !s.Rhythm.Shockable() || len(p.Antiarrhythmics) == 0 {
		return nil
	}
	if s.Rhythm == Torsades {
		if len(s.Given["magnesium"]) > 0 || len(p.Drugs["magnesium"].Doses) == 0 {
			return nil
		}
		return []Cue{p.consider("magnesium", "magnesium", s, s.RhythmAt+p.Span("settle_s"), Seconds(60), Advice)}
	}
	drug, n := p.Antiarrhythmics[0], s.Antiarrhythmics()
	if len(s.Given["lidocaine"]) > 0 && len(s.Given["amiodarone"]) == 0 { // the team chose the other one
		drug = "lidocaine"
	}
	d := p.Drugs[drug]
	if n >= len(d.Doses) && (d.MaxDoses == 0 || n >= d.MaxDoses) {
		return nil
	}
	after := d.Doses[min(n, len(d.Doses)-1)].AfterShock
	if n >= len(d.Doses) { // the last dose repeats
		after += int(p.Get("antiarrhythmic_again_shocks")) * (n - len(d.Doses) + 1)
	}
	from, ok := nthShock(s, after)
	if !ok {
		return nil
	}
	return []Cue{p.consider("antiarrhythmic."+drug, drug, s, from+2*p.Span("settle_s"), Seconds(30), Advice)}
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

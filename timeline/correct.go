package timeline

import (
	"maps"
	"slices"
	"strings"
)

// correct puts the drug of the last dose right, or the energy of the last shock; further
// back than an undo reaches it asks: the callout that is meant may not have been heard.
func (m *Machine) correct(e Event, now Time) Ready {
	last, near, ok := m.correctable(e)
	switch {
	case !ok:
		return Ready{Cues: []Cue{reply("undo.nothing", e, now, ReadBack)}}
	case !near:
		ago := since("correct.ask", last.At, e.At)
		ask := reply(ago.ID, e, now, ReadBack)
		ask.Values, ask.Items = ago.Values, []string{last.Kind.Row().Spoken}
		return Ready{Events: []Event{{At: e.At, Kind: Question, Cue: "correct.ask"}}, Cues: []Cue{ask}}
	}
	return m.fix(last, e, e, now)
}

// correctable is what a correction is about: the last drug, or the last shock. One that names a
// drug of which another amount was called a moment ago is of that, whatever was given since.
func (m *Machine) correctable(e Event) (last Event, near, ok bool) {
	if last, ok = m.otherAmount(e); ok {
		return last, true, true
	}
	return m.latest(e.At, func(x Event) bool {
		isDrug := x.Kind.dose() && x.Kind != "before.shock"
		if e.bare() {
			return isDrug || x.Kind.shocks() || x.number() != ""
		}
		return isDrug && e.Kind != CorrectEnergy || x.Kind.shocks() && e.Kind == CorrectEnergy
	})
}

// otherAmount is the last dose of the drug that a correction names, if that was called a moment ago
// with another amount; without one it was what the protocol gives.
func (m *Machine) otherAmount(e Event) (last Event, ok bool) {
	f, drug := e.Kind.Family()
	if f != "correct.drug." || e.Milligrams() == 0 {
		return Event{}, false
	}
	named := func(x Event) bool { return x.Kind == Kind("drug."+drug) || x.Kind == Kind("before."+drug) }
	last, near, ok := m.latest(e.At, named)
	was := last.Milligrams()
	if was == 0 {
		p := m.protocol.For(m.state)
		kg, _ := p.Weight(m.state)
		usual, _ := p.Dose(drug, 0, kg)
		was = usual.Value
	}
	return last, ok && near && was > 0 && was != e.Milligrams()
}

// bare reports whether e corrects a number without its unit: it is the last one that was
// called, whatever that was of.
func (e Event) bare() bool {
	return e.Kind == CorrectEnergy && e.Heard != nil && !strings.Contains(strings.ToLower(e.Heard.Text), "joule")
}

// empty reports whether a correction names the drug that was given, and no amount: what was to be put right
// was not heard.
func (e Event) empty(last Event) bool {
	f, drug := e.Kind.Family()
	given, dose := last.Kind.Drug()
	return f == "correct.drug." && len(e.Values) == 0 && (dose && drug == given || drug == last.Kind.Before())
}

// number is the slot of the one number that a dose, a weight or an age was called with; empty
// if there is none.
func (e Event) number() string {
	slots := slices.DeleteFunc(slices.Collect(maps.Keys(e.Values)), func(k string) bool { return k == "before_s" })
	patient := e.Kind == PatientWeight || e.Kind == PatientAge || e.Kind == PatientAgeMonths
	if len(slots) != 1 || !patient && !e.Kind.dose() {
		return ""
	}
	return slots[0]
}

// fix puts last right as it was said in correction; e is the callout that has it done.
// The drug "dose" stands for the one that was called (correct.drug.dose corrects its
// amount). The amount of another drug is not taken over; without a new one, the same
// drug has nothing to put right: its amount was not heard.
func (m *Machine) fix(last, correction, e Event, now Time) Ready {
	if correction.empty(last) {
		c := reply("correct.amount", e, now, ReadBack)
		c.Items = []string{last.Kind.Row().Spoken}
		return Ready{Cues: []Cue{c}}
	}
	fixed := last
	if f, drug := correction.Kind.Family(); f != "" && drug != "dose" {
		if fixed.Kind = Kind("drug." + drug); last.Kind.Before() != "" {
			fixed.Kind = Kind("before." + drug)
		}
	}
	if correction.bare() && !last.Kind.shocks() {
		slot := or(last.number(), "dose_mg")
		correction.Values = map[string]float64{slot: correction.Values["energy_j"]}
	}
	if fixed.Kind != last.Kind || len(correction.Values) > 0 {
		if fixed.Values = correction.Values; last.Early() > 0 {
			fixed.Values = with(correction.Values, "before_s", last.Values["before_s"])
		}
	}
	c := reply("corrected", e, now, ReadBack)
	r := replace(e, last, fixed, c)
	if fixed.same(last) { // said again: it was put right already
		r.Events = nil
	}
	said, asked := m.asks(fixed, last, e.At)
	if fixed.Kind != last.Kind {
		said = append(said, Cue{ID: "corrected.from", Items: []string{last.Kind.Row().Spoken}})
	}
	r.Events, r.Cues[0].Parts = append(r.Events, asked...), said
	return r
}

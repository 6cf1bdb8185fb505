package figures

import (
	"cmp"
	"fmt"
	"slices"

	"coxswain/timeline"
)

// RhythmTime is how long a rhythm was the last one called, while a code was on.
type RhythmTime struct {
	Rhythm  string  `json:"rhythm"` // "not called" before the first
	Seconds float64 `json:"seconds"`
}

// RhythmTimes lists the time in each rhythm from the start of the code to its
// end, longest first. The times sum to the code's length.
func (c Course) RhythmTimes() []RhythmTime {
	out := make([]RhythmTime, 0, len(c.Rhythms))
	for r, t := range c.Rhythms {
		out = append(out, RhythmTime{cmp.Or(string(r), "not called"), t.Seconds()})
	}
	slices.SortFunc(out, func(a, b RhythmTime) int {
		return cmp.Or(cmp.Compare(b.Seconds, a.Seconds), cmp.Compare(a.Rhythm, b.Rhythm))
	})
	return out
}

// DrugTotal is what was given of one drug in a record.
type DrugTotal struct {
	Drug    string  `json:"drug"`
	Doses   int     `json:"doses"`
	Mg      float64 `json:"mg"`               // of the doses whose amount was called
	Unnamed int     `json:"unnamed"`          // doses without an amount
	Before  int     `json:"before,omitempty"` // of the doses: before arrival, or before the case
}

// Amount is the total in words. Doses whose amount was not called, or not in milligrams or
// grams, have none: they are no nought.
func (t DrugTotal) Amount() string {
	if t.Before > 0 {
		all := t
		all.Before = 0
		return fmt.Sprintf("%s, %d of them before the start", all.Amount(), t.Before)
	}
	switch {
	case t.Unnamed == t.Doses:
		return "amount in mg not called"
	case t.Unnamed > 0:
		return fmt.Sprintf("%s mg and %d without an amount in mg", timeline.FormatNumber(t.Mg), t.Unnamed)
	}
	return timeline.FormatNumber(t.Mg) + " mg"
}

// DrugTotals lists the drugs given, by name.
func (c Course) DrugTotals() []DrugTotal {
	var out []DrugTotal
	for drug, doses := range c.State.Given {
		t := DrugTotal{Drug: drug, Doses: len(doses), Before: timeline.DosesBefore(doses)}
		for _, d := range doses {
			if t.Mg += d.Mg; d.Mg == 0 {
				t.Unnamed++
			}
		}
		out = append(out, t)
	}
	slices.SortFunc(out, func(a, b DrugTotal) int { return cmp.Compare(a.Drug, b.Drug) })
	return out
}

// Stretches lays out when compressions were on and off while there was no pulse.
func (c Course) Stretches() []Stretch {
	out := slices.Concat(c.Hands, c.Pauses)
	slices.SortFunc(out, func(a, b Stretch) int { return cmp.Compare(a.From, b.From) })
	return out
}

// TimePoint is one of the time points of the Utstein in-hospital template
// (Nolan, Resuscitation 2019;144:166), as far as callouts tell it.
type TimePoint struct {
	Name string
	At   timeline.Time // Never if it was not called
}

// TimePoints lists the Utstein time points. Recognition is the first callout
// of the arrest: an earlier moment must be called or amended.
func (c Course) TimePoints() []TimePoint {
	point := func(name string) TimePoint {
		if at, ok := c.Points[name]; ok {
			return TimePoint{name, at}
		}
		return TimePoint{name, timeline.Never}
	}
	s := c.State
	return []TimePoint{
		{"recognition of the arrest", s.ArrestAt},
		{"first compression", s.FirstCompression},
		{"first rhythm", s.FirstRhythmAt},
		point("first shock"),
		point("first epinephrine"),
		point("airway secured"),
		{"return of circulation", s.FirstROSC},
		{"end of the event", s.Ended},
	}
}

package timeline

import "sort"

// RhythmTime is how long a rhythm was the last one called, while a code was on.
type RhythmTime struct {
	Rhythm  string  `json:"rhythm"`
	Seconds float64 `json:"seconds"`
}

// RhythmTimes adds up the time in each rhythm from the start of the code to its
// end or end; "not called" before the first. The times sum to the code's length.
func RhythmTimes(events []Event, end Time) []RhythmTime {
	sum := map[string]float64{}
	s, at := newState(), Never
	add := func(to Time) {
		if at == Never || s.Started == Never || s.Ended != Never || to <= at {
			return
		}
		name := string(s.Rhythm)
		if name == "" {
			name = "not called"
		}
		sum[name] += (to - at).Seconds()
	}
	for _, e := range standing(events) {
		if e.At > end {
			continue
		}
		add(e.At)
		s.apply(e)
		at = e.At
	}
	add(end)
	out := make([]RhythmTime, 0, len(sum))
	for r, x := range sum {
		out = append(out, RhythmTime{r, x})
	}
	sort.Slice(out, func(i, j int) bool {
		return out[i].Seconds > out[j].Seconds || out[i].Seconds == out[j].Seconds && out[i].Rhythm < out[j].Rhythm
	})
	return out
}

// DrugTotal is what was given of one drug in a record.
type DrugTotal struct {
	Drug    string  `json:"drug"`
	Doses   int     `json:"doses"`
	Mg      float64 `json:"mg"`      // of the doses whose amount was called
	Unnamed int     `json:"unnamed"` // doses without an amount
}

// DrugTotals lists the drugs given, by name.
func DrugTotals(events []Event) []DrugTotal {
	var out []DrugTotal
	for drug, doses := range Fold(events).Given {
		t := DrugTotal{Drug: drug, Doses: len(doses)}
		for _, d := range doses {
			if t.Mg += d.Mg; d.Mg == 0 {
				t.Unnamed++
			}
		}
		out = append(out, t)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Drug < out[j].Drug })
	return out
}

// Stretch is a part of the code for a chart: what the team did then.
type Stretch struct {
	From Time   `json:"from"`
	To   Time   `json:"to"`
	What string `json:"what"` // "compressing" or "hands off"
}

// Stretches lays out when compressions were on and off while there was no pulse.
func Stretches(events []Event, end Time) []Stretch {
	c := lay(events, end)
	var out []Stretch
	for _, s := range c.hands {
		out = append(out, Stretch{s.from, s.to, "compressing"})
	}
	for _, s := range c.off {
		out = append(out, Stretch{s.from, s.to, "hands off"})
	}
	sort.Slice(out, func(i, j int) bool { return out[i].From < out[j].From })
	return out
}

// Cycles lays out the 2-minute cycles: each from its first compression to the
// check, shock or pulse that ended it.
func Cycles(events []Event, end Time) []Stretch {
	var out []Stretch
	s, from := newState(), Never
	for _, e := range standing(events) {
		if e.At > end {
			continue
		}
		s.apply(e)
		now := s.CycleFrom
		if !s.InArrest() || s.CheckDone {
			now = Never
		}
		if now != from {
			if from != Never && e.At > from {
				out = append(out, Stretch{from, e.At, "cycle"})
			}
			from = now
		}
	}
	if from != Never && end > from {
		out = append(out, Stretch{from, end, "cycle"})
	}
	return out
}

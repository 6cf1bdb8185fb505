package figures

import (
	"maps"
	"slices"

	"coxswain/timeline"
)

// Stretch is a part of a code: what the team did then.
type Stretch struct {
	From timeline.Time `json:"from"`
	To   timeline.Time `json:"to"`
	What string        `json:"what"` // "compressing", "hands off" or "cycle"
}

// Seconds is how long the stretch lasts.
func (s Stretch) Seconds() float64 { return (s.To - s.From).Seconds() }

// Course is a record laid out in time: what every figure, table and chart is
// made of. Lengths are in session time; see timeline.State for what a cycle
// and a pause are.
type Course struct {
	State  timeline.State // at the end
	Arrest []Stretch      // without a pulse, while the code was on
	Hands  []Stretch      // compressing
	Pauses []Stretch      // hands off
	// Ratio is how much of Hands was in a ratio with breaths, by whether the
	// patient is a child: until the airway was secured, unless it was called
	// otherwise.
	Ratio   map[bool]timeline.Time
	Cycles  []Stretch
	Checked []Stretch // those that a rhythm check or a shock ended
	Rhythms map[timeline.Rhythm]timeline.Time
	// Held is the longest time that a pulse held without a break after the code
	// began, and Holds whether it still did at the end.
	Held  timeline.Time
	Holds bool
	// Points are the Utstein time points that callouts set, by the names of the
	// table of kinds: when the first such callout came.
	Points map[string]timeline.Time
}

// Lay lays out a record that ends at end.
func Lay(events []timeline.Event, end timeline.Time) Course {
	c := Course{
		Ratio: map[bool]timeline.Time{}, Rhythms: map[timeline.Rhythm]timeline.Time{}, Points: map[string]timeline.Time{},
	}
	var last timeline.Event
	for s, e := range timeline.Replay(events, end) {
		if s.ArrestAt != c.State.ArrestAt { // what came before the arrest sets none of its times
			maps.DeleteFunc(c.Points, func(_ string, at timeline.Time) bool { return at < s.ArrestAt })
		}
		c.withdrawn(s)
		c.cycle(s, last, e.At)
		if s.Started != timeline.Never {
			c.stretch(s, e.At)
		}
		if name := e.Kind.Row().Utstein; name != "" && e.Early() == 0 {
			if _, set := c.Points[name]; !set {
				c.Points[name] = e.At
			}
		}
		c.State, last = s, e
	}
	return c
}

// stretch adds the time from s.At to until, in which s held.
func (c *Course) stretch(s timeline.State, until timeline.Time) {
	if c.Holds = s.PulsePresent && !s.Dead; c.Holds {
		c.Held = max(c.Held, until-max(s.PulseAt, s.Started))
	}
	if s.Ended == timeline.Never && until > s.At {
		c.Rhythms[seen(s)] += until - s.At
	}
	switch {
	case !s.InArrest():
		return
	case s.Compressing:
		c.Hands = grow(c.Hands, s.At, until, "compressing")
		if s.WithBreaths("auto") {
			c.Ratio[s.OfChild()] += until - s.At
		}
	case s.HandsOff():
		c.Pauses = grow(c.Pauses, s.At, until, "hands off")
	}
	if s.OnECMO() && !s.Compressing { // a machine circulates the blood
		return
	}
	c.Arrest = grow(c.Arrest, s.At, until, "arrest")
}

// seen is the rhythm of a state: none that a pulse, felt since, says is over.
func seen(s timeline.State) timeline.Rhythm {
	if s.PulsePresent && s.Rhythm.Pulseless() {
		return "pulse"
	}
	return s.Rhythm
}

// overrun are the cycles that no check ended and that ran longer than a cycle that counts may.
func (c Course) overrun(long *Lengths) (out []Stretch) {
	for _, x := range c.Cycles {
		ended := slices.ContainsFunc(c.Checked, func(y Stretch) bool { return y.From == x.From })
		if long != nil && long.Max > 0 && !ended && x.Seconds() > long.Max {
			out = append(out, x)
		}
	}
	return out
}

// withdrawn counts a pulse that was called and taken back at once as the pause
// that it was in: there was none.
func (c *Course) withdrawn(s timeline.State) {
	from := c.State.PulseAt
	if !c.State.PulsePresent || !s.InArrest() || s.At-from > timeline.BriefPulse() || c.State.ArrestAt == timeline.Never {
		return
	}
	c.Arrest = grow(c.Arrest, from, s.At, "arrest")
	if s.FirstCompression != timeline.Never && c.State.FirstCompression != timeline.Never {
		c.Pauses = grow(c.Pauses, from, s.At, "hands off")
	}
}

// cycle lays out the cycle that s is in, up to until, and notes whether the one
// before was ended by a check: last is the event that led to s.
func (c *Course) cycle(s timeline.State, last timeline.Event, until timeline.Time) {
	n := len(c.Cycles)
	if was := c.State; was.CycleFrom != timeline.Never && s.CycleFrom != was.CycleFrom && n > 0 && checks(last.Kind) {
		c.ended(s.CheckedAt-was.CycleFrom >= timeline.Look(), last.Kind.Row().Lane == "shock")
		n = len(c.Cycles)
	}
	if s.CycleFrom != timeline.Never {
		if n == 0 || c.Cycles[n-1].From != s.CycleFrom {
			c.Cycles = append(c.Cycles, Stretch{From: s.CycleFrom, What: "cycle"})
			n++
		}
		c.Cycles[n-1].To = until
	}
}

// ended notes that a check, or a shock, ended the last cycle, unless there can have been none yet. long: it ran for
// as long as one nearly takes.
func (c *Course) ended(long, shock bool) {
	was, n := c.State, len(c.Cycles)
	switch {
	case long:
	case shock && was.CycleFrom == was.RhythmAt: // of the look that ended the cycle: the hands were never back on
		c.Cycles = c.Cycles[:n-1]
		return
	case shock && !was.ShockedSince(was.RhythmAt) && was.RhythmAt < was.CycleFrom: // hands on while it charged
		return
	case n == 1 || c.Cycles[n-2].From < was.FreshFrom(): // the first look of an arrest, or its first shock at once
		return
	}
	c.Checked = append(c.Checked, c.Cycles[n-1])
}

// checks reports whether a callout of kind k is what a cycle should end with:
// a rhythm check, what was seen in it, or the shock after it.
func checks(k timeline.Kind) bool {
	return k == timeline.RhythmCheck || k.Row().Rhythm != timeline.Unknown || k.Row().Lane == "shock"
}

// grow adds from..to to a list, as a part of its last stretch if it touches.
func grow(list []Stretch, from, to timeline.Time, what string) []Stretch {
	if n := len(list); to <= from {
		return list
	} else if n > 0 && list[n-1].To == from {
		list[n-1].To = to
		return list
	}
	return append(list, Stretch{from, to, what})
}

package timeline

import (
	"cmp"
	"fmt"
	"math"
	"slices"
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
	Urgent                       // closes it and tells to compress: before any other
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
	Seq      uint64   // event that must be safe before it is said, 0 if it came from the clock
	again    *repetition
	plain    *Cue   // of a question that names what was said: the read-back in whose place it stands
	planned  string // its key in the agenda that it came from; empty: from elsewhere
	About    uint64 // event that it answers: if that is taken back, it must not be said; 0: none
}

// Describe returns the cue on one line.
func (c Cue) Describe() string {
	s := fmt.Sprintf("%s %s", c.At, Event{Kind: Kind(c.ID), Values: c.Values}.Describe())
	if len(c.Items) > 0 {
		s += " [" + strings.Join(c.Items, ", ") + "]"
	}
	for _, p := range c.Parts {
		s += " + " + strings.TrimPrefix(p.Describe(), p.At.String()+" ")
	}
	return s
}

// sameMoment are cues that say one thing in different words: what was said as
// the one is not said again as the other when the state has changed.
var sameMoment = strings.NewReplacer("clear.warning", "pause.warning", "clear.limit", "pause.limit",
	"start.warning", "pause.warning",
	"start.limit", "pause.limit", "pause.charging", "pause.limit", "cycle.soon.pulse", "cycle.soon",
	"cycle.soon.hold", "cycle.soon", "cycle.look", "cycle.end", "peri.epinephrine", "epinephrine.first",
	"drowning.breaths.too", "drowning.breaths")

// key names what is said once.
func (c Cue) key() string { return fmt.Sprintf("%s@%d", sameMoment.Replace(c.ID), c.At) }

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

// Agenda lists what the state makes due up to until, past and future, by time.
// It is the protocol: a function of the state alone, so that asking "what is
// next" and being told in time come from the same rule.
func (p *Protocol) Agenda(s State, until Time) []Cue {
	p = p.For(s)
	var rules [][]Cue
	switch {
	case s.OfNewborn():
		if s.InArrest() {
			rules = [][]Cue{p.silence(s)}
		}
	case s.InArrest():
		rules = [][]Cue{
			p.pauses(s), p.clearance(s), p.shockOpen(s), p.cycle(s),
			p.epinephrine(s), p.antiarrhythmic(s), p.special(s), p.jump(s), p.silence(s), p.ecmo(s), p.drowned(s),
		}
	case !s.Dead:
		rules = [][]Cue{p.afterReturn(s), p.withPulse(s), p.opioidPulse(s), p.breathless(s), p.anaphylaxis(s), p.round(s)}
	}
	var out []Cue
	for _, list := range rules {
		for _, c := range list {
			out = c.expand(out, until)
		}
	}
	slices.SortStableFunc(out, func(a, b Cue) int { return cmp.Compare(a.At, b.At) })
	return out
}

// repetition says when a cue is said again, for as long as nobody answers: after
// gap, twice gap and so on, up to most, and then each most. With a slot it tells
// each time how many units have passed since from.
type repetition struct {
	gap, most, from, unit Time
	slot                  string
}

// every returns the cue with a repetition.
func (c Cue) every(gap, most Time) Cue {
	c.again = &repetition{gap: gap, most: most}
	return c
}

// counting returns a repeated cue that tells the time since from in a slot, in
// units.
func (c Cue) counting(slot string, from, unit Time) Cue {
	c.again.slot, c.again.from, c.again.unit = slot, from, unit
	return c
}

// expand appends the cue at each of its moments up to until.
func (c Cue) expand(out []Cue, until Time) []Cue {
	r := c.again
	if r == nil {
		return append(out, c)
	}
	keep, gap := c.Expires-c.At, r.gap
	for t := c.At; t <= until; gap = min(2*gap, r.most) {
		c.At, c.Expires = t, t+keep
		c = c.asOf(t)
		out = append(out, c)
		t += gap
	}
	return out
}

// asOf returns a cue that counts with its number at a moment.
func (c Cue) asOf(t Time) Cue {
	r := c.again
	if r == nil || r.slot == "" {
		return c
	}
	slot, unit := r.slot, r.unit
	if slot == "seconds" && t-r.from >= 120*Rate { // nobody counts on in seconds
		slot, unit = "minutes", 60*Rate
	}
	c.Values = map[string]float64{slot: math.Floor(float64(t-r.from) / float64(unit))}
	return c
}

// pauses: hands-off time at the warning, at the limit, and on.
func (p *Protocol) pauses(s State) []Cue {
	if s.PausedFrom == Never || p.byMachine(s) {
		return nil
	}
	warn, limit := p.Span("pause_warning_s"), p.Span("pause_limit_s")
	id := "pause"
	if s.FirstCompression == Never {
		id = "start"
	}
	if s.Clear() { // a shock is about to be given: nobody may be told to touch the patient
		id = "clear"
	}
	over := due(id+".limit", s.PausedFrom+limit, Seconds(2), HandsOff)
	if s.Stacking(s.At) && p.rowGoesOn(s) { // the next one may follow
		id, over.At = "clear", max(over.At, s.lastShock()+rule("clear_s"))
		over.Expires = over.At + Seconds(2)
	}
	warning := due(id+".warning", s.PausedFrom+warn, Seconds(2), HandsOff).with("seconds", warn.Seconds())
	if id != "start" { // the limit follows: said at its moment, and if nobody speaks then
		warning.Priority, warning.Expires = Advice, warning.At+Seconds(0.6)
	}
	out, gap := []Cue{warning}, limit
	if first := over; id == "pause" && s.ChargingAt >= s.PausedFrom { // a shock is near: how long is enough, once
		first.ID = "pause.charging"
		over.At, over.Expires = over.At+limit, over.Expires+limit
		out = append(out, first.with("seconds", limit.Seconds()))
		gap *= 2
	}
	if s.ClearAt != Never && !s.Clear() { // called clear, and no shock will follow: not before the time that one takes
		over.At = max(over.At, s.ClearAt+rule("clear_s"))
		over.Expires = over.At + Seconds(2)
	}
	over = over.every(gap, p.Span("pause_again_s"))
	return append(out, over.counting("seconds", s.PausedFrom, Rate))
}

// clearance asks once for the shock that did not follow "everybody clear".
func (p *Protocol) clearance(s State) []Cue {
	if !s.Clear() {
		return nil
	}
	return []Cue{due("clear.ask", s.ClearAt+rule("clear_s"), Seconds(5), HandsOff)}
}

// shockOpen asks for the shock that did not follow a shockable rhythm: it may have
// been given and not heard.
func (p *Protocol) shockOpen(s State) []Cue {
	from, ok := p.shockFrom(s)
	if !ok || s.Clear() {
		return nil
	}
	span := p.Span("shock_open_s")
	open := due("shock.open", max(from, s.ChargingAt, s.dumpedAt)+span, Seconds(5), Cycle)
	return []Cue{open.every(span, p.Span("cycle_s"))}
}

// shockFrom is from when a shockable rhythm of the arrest is to be shocked; ok is
// false if none is. A rhythm that is called within the cycle after a shock waits for
// its end: compressions go on.
func (p *Protocol) shockFrom(s State) (from Time, ok bool) {
	unseen := s.Rhythm.Pulseless() && s.RhythmAt < s.LostAt // since a pulse that came back and was lost
	if p.spentInCold(s) || unseen || !s.InArrest() || !s.Rhythm.Shockable() || s.shockedIn() {
		return Never, false
	}
	from = max(s.RhythmAt, s.ArrestAt, s.LostAt)
	since := s.CycleFrom - s.lastShock() // longer, and it was another pause, or a pulse, that these compressions ended
	follows := s.lastShock() >= max(s.ArrestAt, s.LostAt, s.goneAt) && since >= 0 && since < p.Span("pause_again_s")
	if s.Compressing && follows && s.RhythmAt > s.CycleFrom {
		from = max(from, s.CycleFrom+p.Span("cycle_s"))
	}
	return from, true
}

// shockedIn reports whether the rhythm that stands was shocked: it was called before the last shock, or so
// right behind it that hands come first (AHA 2020 Part 3, ERC 2021 ALS: compress at once, no look behind a shock).
func (s State) shockedIn() bool {
	last := s.lastShock()
	again := last >= max(s.ArrestAt, s.LostAt, s.goneAt) && s.RhythmAt < last+rule("shock_again_s") && s.stack() == 0
	hands := s.CycleFrom != Never && s.RhythmAt > s.CycleFrom // went back on first
	return last != Never && (last >= s.RhythmAt || again && !hands && s.ChargingAt == Never && s.ClearAt == Never)
}

// cycleFrom is when the cycle that is counted began: if nobody calls
// compressions, with the arrest or the last look at the rhythm.
func (s State) cycleFrom() Time {
	switch {
	case s.Compressing:
		return s.CycleFrom
	case s.FirstCompression == Never:
		return max(s.ArrestAt, s.CheckedAt)
	}
	return Never
}

func (p *Protocol) cycle(s State) []Cue {
	from := s.cycleFrom()
	if from == Never || s.Clear() || p.byMachine(s) && !s.Compressing {
		return nil
	}
	end, settled := from+p.Span("cycle_s"), p.Span("cycle_again_s")
	soon := due("cycle.soon", end-p.Span("cycle_warning_s"), Seconds(4), Cycle).with("seconds", p.Get("cycle_warning_s"))
	switch {
	case s.Rhythm != Unknown && !s.Rhythm.Shockable(): // nothing to charge for
		soon.ID = "cycle.soon.pulse"
	case p.spentInCold(s): // no shock follows
		soon.ID = "cycle.soon.hold"
	}
	over := due("cycle.over", end+settled, Seconds(3), Cycle).every(settled, p.Span("cycle_s"))
	over = over.counting("minutes", from, 60*Rate)
	if !s.Compressing { // nobody to hold, or to change over
		return []Cue{due("cycle.look", end, Seconds(3), Cycle), over}
	}
	return append([]Cue{soon, due("cycle.end", end, Seconds(3), Cycle), over}, p.firstLook(s)...)
}

// firstLook asks for the rhythm that nobody has called since the pulse was lost: it is looked
// at as soon as there is a monitor, and not at the end of a cycle.
func (p *Protocol) firstLook(s State) []Cue {
	from := max(s.ArrestAt, s.LostAt, s.goneAt)
	_, pulseless := s.withoutPulse()
	if s.RhythmAt >= from || pulseless && !s.Rhythm.Pulseless() || max(s.lastShock(), s.CheckedAt) >= from {
		return nil
	}
	return []Cue{due("cycle.first", from+p.Span("first_look_s"), Seconds(20), Cycle)}
}

// silence asks whether anybody is there, when nothing was heard for long.
func (p *Protocol) silence(s State) []Cue {
	span, id := p.Span("silence_s"), "silence"
	switch { // "compressing?" might send somebody to the patient
	case p.byMachine(s), s.OfNewborn():
		id = "silence.ecmo"
	case s.Clear():
		id = "silence.clear"
	}
	at := s.HeardAt + span
	if from := s.cycleFrom(); from != Never { // the end of a cycle asks for an answer itself: that comes first
		end := from + p.Span("cycle_s")
		if wait := p.Span("silence_after_cycle_s"); at > end-p.Span("cycle_warning_s") && at < end+wait {
			at = end + wait
		}
	}
	c := due(id, at, Seconds(20), Answer).every(span, 2*span)
	return []Cue{c.counting("minutes", s.HeardAt, 60*Rate)}
}

package timeline

import (
	"math"
	"slices"
	"strings"
)

// "What is next": one thing, from the state where it is to be done at once, or else from the
// agenda.

// nextAtOnce is what comes next whatever the agenda says; "": look there.
func (s State) nextAtOnce() string {
	unmeasured := s.StabilityAt == Never
	switch {
	case s.Ended != Never:
		return "answer.nocode"
	case s.PulsePresent && unmeasured:
		return s.nextWithPulse()
	case s.untold(), s.NoBreathingAt != Never && unmeasured && !s.InArrest(): // "not breathing" is all that was called
		return "before.pulse"
	case !s.InArrest() && unmeasured && s.noted.anaphylaxis == Never:
		return "answer.nocode"
	case s.Clear():
		return "next.clear"
	case s.InArrest() && !s.Compressing:
		return "next.compressions"
	}
	return ""
}

// nextWithPulse is what comes next for whoever has a pulse and was called neither stable nor
// unstable.
func (s State) nextWithPulse() string {
	switch {
	case s.breathless():
		return "next.breaths"
	case s.unmeasured():
		return "next.stable"
	case s.FirstROSC == Never && !s.came:
		return ""
	}
	return "next.pulse"
}

// unmeasured reports whether a rhythm with a pulse stands of which all depends on whether the patient
// is stable.
func (s State) unmeasured() bool {
	// not that of the arrest before, unless it was seen a moment ago and not shocked since
	since := max(s.PulseAt-rule("seen_s"), s.ArrestAt, s.LostAt, s.lastShock()+1)
	seen := s.RhythmAt >= since || s.FirstROSC == Never && !s.came
	return seen && (s.Rhythm.Fast() || s.Rhythm == Brady)
}

// breathless reports whether a patient with a pulse is to be given breaths: an opioid took the
// breathing, or it was called absent, and nobody called it back or secured the airway.
func (s State) breathless() bool {
	opioid := s.OpioidAt != Never && s.BreathingAt < s.OpioidAt
	return s.PulsePresent && s.AirwayAt == Never && (opioid || s.NoBreathingAt != Never)
}

// Now is what "what is next" would be answered at now, if that is to be done at once,
// and whether it goes before all else; false: nothing is, or only later.
func (m *Machine) Now(now Time) (c Cue, first, ok bool) {
	c = m.next(Event{}, now)
	first = c.ID == "next.compressions" || c.ID == "next.clear" || c.ID == "next.defibrillation"
	return c, first, first || strings.HasSuffix(c.ID, ".now")
}

// nextShock is the shock as what comes next, if a rhythm waits for it; while hands are off
// they go on for as long as it charges.
func (p *Protocol) nextShock(s State, c Cue, now Time) (Cue, bool) {
	from, ok := p.shockFrom(s)
	if !ok || from > now || s.Clear() {
		return c, false
	}
	if c.ID == "next.compressions" && s.ChargingAt < from && !p.byMachine(s) {
		c.Parts = []Cue{{ID: "next.charging"}}
	}
	c.ID = "next.defibrillation"
	if energy, _, ok := p.NextEnergy(s); ok && !s.heldOpen() {
		c = c.with("energy_j", energy.Value)
	}
	return c, true
}

// treatedAnyway reports whether a patient with a pulse is treated whatever else was called: a
// child who is slow, or a rhythm that is unstable always.
func (p *Protocol) treatedAnyway(s State) bool {
	return p.slowChild(s) || s.PulsePresent && slices.Contains(p.AlwaysUnstable, s.Rhythm)
}

// next answers "what is next" with one thing: what is due now, most urgent
// first, or else the next thing to come.
func (m *Machine) next(e Event, now Time) Cue {
	c := reply("", e, now, Answer)
	p := m.protocol.For(m.state)
	if m.state.OfNewborn() && m.state.Ended == Never {
		c.ID = "next.newborn"
		return c
	}
	if c.ID = m.state.nextAtOnce(); c.ID == "next.compressions" { // before read-backs that wait
		c.Priority = Urgent
	}
	if shock, ok := p.nextShock(m.state, c, now); ok {
		return shock
	}
	if c.ID == "next.compressions" && p.byMachine(m.state) {
		return p.nextOnECMO(m.state, c)
	}
	if most, spent := p.coldShocksSpent(m.state); spent && c.ID == "next.clear" { // asked about, not called for
		c.ID, c.Parts = "said."+string(ShockClear), []Cue{Cue{ID: "question.shock.cold"}.with("shocks", most)}
		return c
	}
	if c.ID != "" && !(m.state.Ended == Never && p.treatedAnyway(m.state)) {
		c = p.whileClear(m.state, c, now)
	} else {
		c = m.fromAgenda(c, now)
	}
	return p.orCare(m.state, c)
}

// orCare answers with the care of a patient whose pulse came back, where nothing else is next.
func (p *Protocol) orCare(s State, c Cue) Cue {
	if s.returned() && (c.ID == "next.nothing" || c.ID == "next.pulse") {
		c.ID, c.Parts = "next.pulse", p.care(s)
	}
	return c
}

// whileClear adds to what comes next what must not wait behind it, or come before it.
func (p *Protocol) whileClear(s State, c Cue, now Time) Cue {
	switch {
	case c.ID == "next.compressions" && s.airFirst() && len(p.drowned(s)) > 0 && !s.Silent(now):
		c.Parts = []Cue{{ID: "drowning.breaths"}}
	case c.ID == "next.breaths" && s.OpioidAt != Never && s.FirstROSC == Never && len(s.Given["naloxone"]) == 0:
		c.Parts = []Cue{{ID: "next.naloxone"}}
	case c.ID == "next.compressions" && s.Silent(now): // somebody may be about to shock all the same
		c.ID = "next.clear.not"
	}
	return c
}

// steps are what is done first for a slow child, one after the other: each is what comes next
// until the one behind it is due. countdown is what is done at once, shocks above all: nobody may take an
// answer for one.
var (
	steps     = map[string]bool{"peri.breaths": true, "peri.compress": true}
	countdown = map[string]bool{"next.cardioversion": true, "next.shock": true, "next.oxygen": true, "next.press": true,
		"next.anaphylaxis": true}
)

// fromAgenda makes c of what the agenda has due now, most urgent first, or else of what it has
// next.
func (m *Machine) fromAgenda(c Cue, now Time) Cue {
	var step, soon *Cue
	for _, a := range m.agenda {
		switch name := kinds.next[a.ID]; {
		case name == "":
		case a.At <= now && steps[a.ID]:
			step = &a
		case a.At <= now: // due since then, and not done: it would be gone from the agenda
			if c.ID, c.Values = name+".now", a.Values; step != nil && step.ID == "peri.compress" { // before the drug
				c.Parts = []Cue{{ID: c.ID, Values: c.Values}}
				c.ID, c.Values = kinds.next[step.ID]+".now", step.Values
			}
			return c
		case soon == nil:
			soon = &a
		}
	}
	c.ID = "next.nothing"
	if step != nil {
		soon = step
	}
	if soon == nil {
		return c
	}
	c.ID = kinds.next[soon.ID]
	secs := math.Round((soon.At-now).Seconds()/5) * 5
	if secs <= 0 || countdown[c.ID] {
		c.ID, c.Values = c.ID+".now", soon.Values
		return c
	}
	c.ID += ".in"
	c.Values = map[string]float64{"minutes": math.Floor(secs / 60), "seconds": math.Mod(secs, 60)}
	return c
}

package timeline

import (
	"fmt"
	"math"
)

// The care after return of circulation: its targets, what was measured outside them, and what
// comes next.

// afterReturn is the care after return of circulation: one target at a time,
// and the pulse felt for again. Who never lost the pulse gets none of it, and who is
// unstable not yet.
func (p *Protocol) afterReturn(s State) []Cue {
	if s.PulseAt == Never || s.FirstROSC == Never || s.Ended != Never {
		return nil
	}
	if s.Unstable || p.slowChild(s) { // the rhythm comes first
		return nil
	}
	at := func(k Time, id string) Cue {
		return due(id, max(s.PulseAt, s.pulseTold)+p.Span("aftercare_s")+k*p.Span("aftercare_gap_s"), Seconds(30), Advice)
	}
	out := []Cue{
		p.say(at(0, "rosc.oxygen"), "rosc_spo2_min", "min", "rosc_spo2_max", "max"),
		p.say(at(1, "rosc.ventilation"), "rosc_ventilation_s", "seconds"),
		p.warmth(at(3, "rosc.temperature")),
	}
	if p.patient(s) == "" { // a child's pressure goes by age: no single number
		out = append(out, p.pressure(at(2, "rosc.pressure")))
	}
	if _, done := s.Done["ecg"]; !done {
		out = append(out, at(4, "rosc.ecg"))
	}
	every := p.Span("pulse_recheck_s")
	recheck := due("rosc.recheck", max(s.PulseAt, s.CheckedAt)+every, Seconds(10), Cycle)
	return append(out, recheck.every(every, every))
}

// warm names the bounds of the temperature that the protocol sets.
func (p *Protocol) warm(c Cue) Cue {
	if c = p.say(c, "rosc_temperature_min", "min", "rosc_temperature_max", "max"); p.Values["rosc_temperature_min"].None {
		c.ID += ".most"
	}
	return c
}

// warmth names the bounds of the temperature, and for how long they hold.
func (p *Protocol) warmth(c Cue) Cue {
	c = p.warm(c)
	hours := p.say(Cue{ID: "rosc.hours"}, "rosc_temperature_h", "hours", "rosc_temperature_max_h", "max")
	switch len(hours.Values) {
	case 0:
		return c
	case 2:
		hours.ID += ".range"
	}
	c.Parts = append(c.Parts, hours)
	return c
}

// pressure names the mean pressure to reach and, if the protocol sets one, the
// systolic.
func (p *Protocol) pressure(c Cue) Cue {
	if c = p.say(c, "rosc_pressure_mmhg", "min", "rosc_pressure_to_mmhg", "max"); len(c.Values) == 2 {
		c.ID += ".range"
	}
	if systolic := p.say(Cue{ID: "rosc.systolic"}, "rosc_systolic_mmhg", "min"); len(systolic.Values) > 0 {
		c.Parts = append(c.Parts, systolic)
	}
	return c
}

// sugar names the bounds of the glucose, in the unit that the team calls it in.
func (p *Protocol) sugar(c Cue) Cue {
	c = p.say(c, "rosc_glucose_min", "min", "rosc_glucose_max", "max")
	for slot, x := range c.Values {
		c = c.with(slot, math.Round(10*x/p.perMmol(Glucose))/10)
	}
	return c
}

// returned reports whether circulation is back in a case that goes on.
func (s State) returned() bool { return s.PulsePresent && s.FirstROSC != Never && s.Ended == Never }

// aims are the measured numbers that have a target after return of circulation, in the order of
// airway, breathing and circulation (common practice, no source).
var aims = []string{"saturation", "pressure", "glucose", "temperature"}

// aim is the target of a measured number, and whether x, of a pressure with the diastolic low, is
// outside it. A child's pressure goes by age: no number, but that there is one.
func (p *Protocol) aim(s State, name string, x, low float64) (target Cue, outside bool) {
	beyond := func(least, most string) bool {
		return x < p.Get(least) || x > p.Get(most)
	}
	switch name {
	case "saturation":
		target = p.say(Cue{ID: "rosc.oxygen"}, "rosc_spo2_min", "min", "rosc_spo2_max", "max")
		return target, beyond("rosc_spo2_min", "rosc_spo2_max")
	case "temperature": // no least is 0
		return p.warm(Cue{ID: "rosc.temperature"}), beyond("rosc_temperature_min", "rosc_temperature_max")
	case "glucose":
		if target = p.sugar(Cue{ID: "rosc.glucose"}); x < p.Get("rosc_glucose_min") {
			target.Parts = append([]Cue{{ID: "rosc.sugar.low"}}, target.Parts...)
		}
		return target, beyond("rosc_glucose_min", "rosc_glucose_max")
	case "pressure":
		if p.patient(s) != "" {
			return Cue{ID: "rosc.pressure.open", Parts: []Cue{{ID: "dose.check"}}}, true
		}
		mean := low + (x-low)/3 // of a resting heart; common practice, no source
		systolic, set := p.Spoken("rosc_systolic_mmhg")
		return p.pressure(Cue{ID: "rosc.pressure"}), mean < p.Get("rosc_pressure_mmhg") || set && x <= systolic
	}
	return Cue{}, false
}

// offAim tells the target that a number which was just called is outside of, once for each
// return of circulation.
func (m *Machine) offAim(p *Protocol, e Event) []Cue {
	_, name := e.Kind.Family()
	x, s := p.number(e), m.state
	if !s.returned() || !p.plausible(name, x) {
		return nil
	}
	target, outside := p.aim(s, name, x, e.Values["diastolic_mmhg"])
	once := fmt.Sprintf("aim %s %d", name, s.PulseAt)
	if !outside || m.said[once] {
		return nil
	}
	m.said[once] = true
	if target.ID == "rosc.pressure.open" { // whether it is outside nobody has reckoned
		return []Cue{target}
	}
	return []Cue{{ID: "rosc.outside"}, target}
}

// care is what comes next after return of circulation: the targets of what was last measured
// outside them, or else what was neither done nor measured.
func (p *Protocol) care(s State) (out []Cue) {
	var open []Cue
	for _, name := range aims {
		n, known := s.Measured[name]
		target, outside := p.aim(s, name, n.Value, n.Low)
		switch measured := known && n.At >= s.PulseAt && p.plausible(name, n.Value); {
		case target.ID == "":
		case measured && outside && target.ID != "rosc.pressure.open":
			out = append(out, target)
		case !measured:
			open = append(open, target)
		}
	}
	if _, done := s.Done["ecg"]; !done {
		open = append([]Cue{{ID: "rosc.ecg"}}, open...)
	}
	switch {
	case len(out) > 0:
		return out[:min(3, len(out))]
	case len(open) > 0:
		return open[:1]
	}
	return nil
}

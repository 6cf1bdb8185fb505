package timeline

import "slices"

// The drugs of the arrest: when each is due, and its amount.

func (p *Protocol) epinephrine(s State) []Cue {
	if p.byMachine(s) {
		return nil
	}
	if p.tooCold(s) && !p.coldDose(s) {
		return p.coldEpinephrine(s)
	}
	gap, most := p.Span("drug_again_s"), p.Span("drug_again_most_s")
	if given := p.fullDoses(s); len(given) > 0 {
		last := given[len(given)-1].At
		if given[len(given)-1].Untimed {
			return p.dueUntimed(given[len(given)-1])
		}
		again := p.rearrestEpinephrine(s)
		after := func(id, value string) Cue {
			at := last + p.Span(value)
			if again != Never { // a dose of before the record may lie before any moment
				at = max(at, again+p.Span(value)-p.Span("epinephrine_due_s"))
			}
			c := p.say(due(id, at, Seconds(20), Due), value, "minutes")
			c.Parts = nil // the interval is open, the drug is not
			return c
		}
		soon, late := after("epinephrine.due", "epinephrine_due_s"), after("epinephrine.overdue", "epinephrine_overdue_s")
		if late = late.every(gap, most); late.Values != nil {
			late = late.counting("minutes", last, 60*Rate)
		}
		return []Cue{soon, late}
	}
	from, ok := p.firstEpinephrine(s)
	if !ok {
		return nil
	}
	at := from + p.Span("settle_s")
	if told := p.toldSlow(s); told != Never && at-told < gap/2 {
		at = told // it was considered a moment ago, for the rhythm with a pulse: see sameMoment
	}
	if last, ok := p.lastEpinephrine(s); ok { // for the rhythm with a pulse
		at = max(at, last.At+p.Span("epinephrine_due_s"))
	}
	c := p.consider("epinephrine.first", "epinephrine", s, at, Seconds(20), Due)
	return []Cue{c.every(gap, most)}
}

// lastEpinephrine is the last dose that the interval to the next one counts from, whether it was
// given in the arrest or to the slow patient who then arrested. What was named as less than
// half a dose of the arrest, as is given for pressure, is none.
func (p *Protocol) lastEpinephrine(s State) (Dose, bool) {
	kg, _ := p.Weight(s)
	dose, known := p.Dose("epinephrine", 0, kg)
	for _, d := range slices.Backward(s.Given["epinephrine"]) {
		if !d.Untimed && !s.intoMuscle(d) && (!known || d.Mg == 0 || d.Mg >= dose.Value/2) {
			return d, true
		}
	}
	return Dose{}, false
}

// fullDoses are the doses of epinephrine that count for the next one in the arrest: not those that a
// patient with a pulse got for the pressure, nor, beside a second patient, what is too little to be this one's.
func (p *Protocol) fullDoses(s State) []Dose {
	kg, _ := p.Weight(s)
	dose, known := p.Dose("epinephrine", 0, kg)
	return slices.DeleteFunc(slices.Clone(s.Doses("epinephrine")), func(d Dose) bool {
		other := s.secondAt != Never && d.At >= s.secondAt
		return (d.pulse || other) && known && d.Mg > 0 && d.Mg < dose.Value/2
	})
}

// rearrestEpinephrine is when the next dose can be due at the earliest if the pulse
// was lost again since the last: once the rhythm shows that no shock helps or a shock
// was given, or else after a cycle. Time with a pulse makes no dose overdue.
func (p *Protocol) rearrestEpinephrine(s State) Time {
	given, settle := p.fullDoses(s), p.Span("settle_s")
	switch {
	case s.LostAt == Never || given[len(given)-1].At >= s.LostAt:
		return Never
	case s.lastShock() >= s.LostAt:
		return s.lastShock() + settle
	case s.RhythmAt >= s.LostAt && !s.Rhythm.Shockable():
		return s.RhythmAt + settle
	}
	return max(s.LostAt, s.RhythmAt) + p.Span("cycle_s")
}

// firstEpinephrine: at once in a rhythm that no shock helps, otherwise after
// the protocol's number of shocks.
func (p *Protocol) firstEpinephrine(s State) (Time, bool) {
	if s.Rhythm != Unknown && !s.Rhythm.Shockable() {
		from, pulseless := s.withoutPulse()
		return from + p.Span("epinephrine_nonshockable_s"), pulseless
	}
	return p.stackedShock(s, max(1, int(p.Get("epinephrine_after_shock"))),
		p.Values["stacked_epinephrine_shocks"])
}

// withoutPulse is since when a rhythm is known to have no pulse: PEA and asystole have
// none; any other that is called in the arrest, or so shortly before it that it is seen still,
// is pulseless electrical activity once the pulse was called absent, or compressions went on
// after it. What follows a pulse that was lost nobody has seen.
func (s State) withoutPulse() (from Time, ok bool) {
	began := max(s.ArrestAt, s.LostAt)
	seen := s.RhythmAt >= began || s.PulselessAt >= began && s.RhythmAt >= began-rule("seen_s")
	switch {
	case s.Rhythm == Unknown:
		return Never, false
	case s.Rhythm.Pulseless():
		return s.RhythmAt, true
	case s.PulselessAt >= s.RhythmAt && seen:
		return s.PulselessAt, true
	case s.Rhythm == Brady && s.RhythmAt >= began-rule("seen_s"): // compressions for it
		seen = true
	}
	return s.CycleFrom, seen && s.Compressing && s.CycleFrom > s.RhythmAt
}

// consider is a cue that names a drug's next dose. Without the weight that the
// dose depends on, it asks for the weight instead of a number.
func (p *Protocol) consider(id, drug string, s State, at, keep Time, prio Priority) Cue {
	kg, _ := p.Weight(s)
	dose, ok := p.Dose(drug, len(s.Doses(drug)), kg)
	if who := p.doubtedWho(s); who != nil {
		c := due(id, at, keep, prio)
		c.Parts = who
		return c
	}
	return p.Drugs[drug].cautioned(due(id, at, keep, prio).withAmount("dose_mg", dose, ok))
}

// withAmount returns the cue with a computed amount to speak or, if there is
// none, with what to do instead: say the weight, take the device's maximum, or
// look at the local chart.
func (c Cue) withAmount(name string, amount Computed, ok bool) Cue {
	switch {
	case ok && amount.Estimated:
		c.Parts = append(c.Parts, Cue{ID: "dose.estimated"})
		return c.with(name, amount.Value)
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
	if !s.Rhythm.Shockable() || len(p.Antiarrhythmics) == 0 || p.tooCold(s) {
		return nil
	}
	if s.Rhythm == Torsades {
		return p.magnesium(s)
	}
	drug, n := p.Antiarrhythmics[0], s.Antiarrhythmics()
	if len(s.Doses("lidocaine")) > 0 && len(s.Doses("amiodarone")) == 0 { // the team chose the other one
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
	from, ok := p.stackedShock(s, max(1, after), p.Values["stacked_antiarrhythmic_shocks"])
	if !ok {
		return nil
	}
	c := p.consider("antiarrhythmic."+drug, drug, s, from+2*p.Span("settle_s"), Seconds(30), Advice)
	return []Cue{c.every(p.Span("drug_again_most_s")/2, p.Span("drug_again_most_s"))}
}

// magnesium in torsades: at once or, where the protocol gives it for a rhythm
// that comes back, after its number of shocks and only with a long QT.
func (p *Protocol) magnesium(s State) []Cue {
	d := p.Drugs["magnesium"]
	if len(s.Doses("magnesium")) > 0 || len(d.Doses) == 0 {
		return nil
	}
	id := "magnesium"
	if n := d.Doses[0].AfterShock; n > 0 {
		id = "magnesium.recurring"
		if at, ok := nthShock(s, n); !ok || s.RhythmAt < at {
			return nil
		}
	}
	return []Cue{p.consider(id, "magnesium", s, s.RhythmAt+p.Span("settle_s"), Seconds(60), Advice)}
}

// stackedShock returns when the n-th shock was given as it counts for a drug: of
// shocks given in a row without compressions, up to the protocol's number, only so
// many count as the value says; if it is none, all do.
func (p *Protocol) stackedShock(s State, n int, value Value) (Time, bool) {
	most, _ := p.Spoken("stacked_shocks")
	count, stacks := value.Value, !value.None
	if n -= s.ShocksBefore; n <= 0 { // given before arrival
		return s.BeforeAt, true
	}
	row := 0.0 // shocks of the present stack
	for _, x := range s.Defibrillations() {
		switch {
		case !x.Stacked || !stacks:
			row = 0
			n--
		case row == 0 || row >= most: // the first of a stack
			row = 1
			n--
		default:
			if row++; row <= count {
				n--
			}
		}
		if n <= 0 {
			return max(x.At, s.BeforeAt), true // nobody knew before
		}
	}
	return 0, false
}

// nthShock returns when the n-th defibrillation of the arrest was given (n
// from 1).
func nthShock(s State, n int) (Time, bool) {
	shocks := s.Defibrillations()
	if n = max(n, 1) - s.ShocksBefore; n <= 0 {
		return s.BeforeAt, true
	} else if len(shocks) < n {
		return 0, false
	}
	return max(shocks[n-1].At, s.BeforeAt), true // nobody knew before
}

package timeline

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strings"
)

// summary is the hand-over in SBAR order (situation, background, assessment,
// recommendation; common practice, no source), short enough for half a minute.
func (m *Machine) summary(e Event, now Time) Cue {
	s := m.state
	c := reply("answer.nocode", e, now, Answer)
	c.Expires = now + Seconds(8)
	if s.Started == Never && s.StabilityAt == Never && !s.PulsePresent && s.OpioidAt == Never && s.noted == nothingNoted {
		return c
	}
	c.ID = "summary"
	c.Parts = slices.Concat(m.situation(e.At), m.background(), m.treatment(), m.measured(), m.outlook(e, now))
	return c
}

// counted is a part with one number, left out if that is 0.
func counted(id, slot string, n float64) []Cue {
	if n == 0 {
		return nil
	}
	return []Cue{Cue{ID: id}.with(slot, n)}
}

// minutesFrom counts whole minutes; what was called late lies behind the end: none.
func minutesFrom(from, to Time) float64 { return max(0, math.Floor((to-from).Seconds()/60)) }

// since tells how many minutes ago something was; in the first, that it is new.
func since(id string, from, to Time) Cue {
	if minutes := minutesFrom(from, to); minutes > 0 {
		return Cue{ID: id}.with("minutes", minutes)
	}
	return Cue{ID: id + ".new"}
}

// situation: since when, and how it stands.
func (m *Machine) situation(at Time) []Cue {
	s := m.state
	if s.Ended != Never {
		at = s.Ended
	}
	var out []Cue
	switch {
	case s.ArrestAt != Never && s.TreatedBefore():
		out = append(out, Cue{ID: "summary.arrest.before"})
	case s.ArrestAt != Never:
		out = append(out, since("summary.arrest", s.ArrestAt, at))
	}
	out = append(out, s.toldBefore()...)
	switch {
	case s.Dead:
		return append(out, Cue{ID: "summary.dead"})
	case s.PulsePresent && s.FirstROSC != Never:
		return append(out, since("summary.pulse", s.PulseAt, at))
	case s.InArrest() && s.LostAt != Never && s.FirstROSC != Never:
		return append(out, since("summary.lost", s.LostAt, at))
	case s.InArrest():
		return append(out, Cue{ID: "summary.ongoing"})
	case !s.PulsePresent && s.StabilityAt == Never:
		return append(out, Cue{ID: "summary.unknown"})
	}
	return append(out, Cue{ID: "summary.noarrest"})
}

// background: who it is, the first rhythm and the present one, if that was seen since the pulse came or went.
func (m *Machine) background() []Cue {
	s := m.state
	p := m.protocol.For(s)
	var out []Cue
	if who := p.kindOf(s); who != "adult" {
		out = append(out, Cue{ID: "summary." + who})
	}
	if s.AgeMonths >= 24 {
		out = append(out, counted("summary.age", "age_y", math.Floor(s.AgeMonths/12))...)
	} else {
		out = append(out, counted("summary.months", "age_months", s.AgeMonths)...)
	}
	kg, _ := p.Weight(s)
	out = append(out, counted("summary.weight", "weight_kg", kg)...)
	if s.PregnantAt != Never {
		out = append(out, Cue{ID: "summary.pregnant"})
	}
	if s.OpioidAt != Never {
		out = append(out, Cue{ID: "said." + string(PatientOpioid)})
	}
	out = append(out, s.noted.spoken()...)
	switch {
	case s.FirstRhythm != Unknown:
		out = append(out, Cue{ID: "summary.first", Items: []string{s.FirstRhythm.Kind().Row().Spoken}})
	case s.Rhythm != Unknown:
		out = append(out, Cue{ID: "summary.rhythm", Items: []string{s.Rhythm.Kind().Row().Spoken}})
	}
	if seen := s.RhythmAt >= max(s.PulseAt, s.LostAt); seen && s.FirstRhythm != Unknown && s.Rhythm != s.FirstRhythm {
		out = append(out, Cue{ID: "summary.now", Items: []string{s.Rhythm.Kind().Row().Spoken}})
	}
	return out
}

// treatment: what was done.
func (m *Machine) treatment() []Cue {
	s := m.state
	out := counted("summary.shocks", "shocks", float64(s.shocksInAll()))
	out = append(out, counted("before.of", "count", float64(s.ShocksBefore))...)
	out = append(out, counted("shocks.pulse", "shocks", float64(s.pulseShocks()))...)
	out = append(out, counted("summary.cardioversions", "shocks", float64(len(s.Cardioversions())))...)
	out = append(out, s.drugs()...)
	done := Cue{ID: "summary.done"}
	if s.AirwayAt != Never {
		done.Items = append(done.Items, AirwaySecured.Row().Spoken)
	}
	for _, k := range slices.Sorted(maps.Keys(s.Done)) {
		kind := Kind(k)
		if !strings.Contains(k, ".") {
			kind = Kind("intervention." + k)
		}
		done.Items = append(done.Items, kind.Row().Spoken)
	}
	if len(done.Items) > 0 {
		out = append(out, done)
	}
	if s.airwayLost {
		out = append(out, Cue{ID: "said." + string(AirwayLost)})
	}
	if s.noAccess {
		out = append(out, Cue{ID: "said." + string(AccessLost)})
	}
	return append(out, s.treated()...)
}

// treated names the causes that were called treated; what was done for one is named itself.
func (s State) treated() []Cue {
	done := map[string]bool{}
	for name := range s.Done {
		done[Kind("intervention."+name).Row().Treats] = true
	}
	c := Cue{ID: "said.cause.treated"}
	for _, cause := range slices.Sorted(maps.Keys(s.Causes)) {
		if s.Causes[cause] == "treated" && !done[cause] {
			c.Items = append(c.Items, cause)
		}
	}
	if len(c.Items) == 0 {
		return nil
	}
	return []Cue{c}
}

// namedDrugs is how many drugs a hand-over names: common practice, no source, but that
// nobody takes in a longer list.
const namedDrugs = 4

// drugs are what was given, those of the arrest first, with their amounts as far as they
// were called; of many the rest is only counted.
func (s State) drugs() (out []Cue) {
	first := []string{"lidocaine", "amiodarone", "epinephrine"}
	order := slices.SortedFunc(maps.Keys(s.Given), func(a, b string) int {
		return cmp.Or(slices.Index(first, b)-slices.Index(first, a), strings.Compare(a, b))
	})
	for i, drug := range order {
		if i == namedDrugs && len(order) > namedDrugs+1 {
			return append(out, Cue{ID: "summary.others"}.with("drugs", float64(len(order)-i)))
		}
		c := Cue{ID: "summary.drug", Items: []string{drug}}
		unnamed := slices.ContainsFunc(s.Given[drug], func(d Dose) bool { return d.Mg == 0 })
		if total := s.Total(drug); total > 0 && !unnamed {
			c = c.with("dose_mg", total)
		} else {
			c = c.with("doses", float64(len(s.Given[drug])))
		}
		out = append(append(out, c), counted("before.doses", "doses", float64(DosesBefore(s.Given[drug])))...)
	}
	return out
}

// namedNumbers is how many measured numbers a hand-over names, unless more speak for a cause: common
// practice, no source.
const namedNumbers = 4

// measured are the last numbers of each kind that were called: those that speak for a cause, though it
// was treated, then the newest of the others, one at least.
func (m *Machine) measured() (out []Cue) {
	seen := map[Kind]bool{}
	var list []Event
	for _, e := range slices.Backward(standing(m.events)) {
		if f, _ := e.Kind.Family(); f == "measured." && e.Seq > m.state.EndedBy && !seen[e.Kind] {
			seen[e.Kind] = true
			list = append(list, e)
		}
	}
	p := m.protocol.For(m.state)
	slices.SortStableFunc(list, func(a, b Event) int {
		return cmp.Compare(p.tells(m.state, b.Kind), p.tells(m.state, a.Kind))
	})
	speak := slices.IndexFunc(append(list, Event{}), func(e Event) bool { return p.tells(m.state, e.Kind) == 0 })
	for _, e := range list[:min(max(namedNumbers, speak+1), len(list))] {
		c := Cue{ID: "said." + string(e.Kind), Values: e.Values}
		if by := p.perMmol(e.Kind); by != 1 { // the record has it in its own unit
			c.ID += ".mmol"
			c.Values = map[string]float64{}
			for slot, x := range e.Values {
				c.Values[slot] = math.Round(10*x/by) / 10
			}
		}
		out = append(out, c)
	}
	return out
}

// tells is 2 for a number that speaks for a cause which nobody has treated since, 1 if somebody has.
func (p *Protocol) tells(s State, k Kind) int {
	_, name := k.Family()
	switch r := p.Measured[name]; {
	case r.Cause != "" && p.contradicted(s, r.Cause):
		return 2
	case r.open(s.Measured[name].Value) && p.plausible(name, s.Measured[name].Value):
		return 1
	}
	return 0
}

// outlook: what is open, and what is due next.
func (m *Machine) outlook(e Event, now Time) []Cue {
	s := m.state
	if s.Ended != Never {
		return nil
	}
	var out []Cue
	if s.NoShockAt != Never || len(s.Causes) > 0 {
		out = counted("summary.causes", "causes", float64(len(m.protocol.CausesLeft(s))))
	}
	next := m.next(e, now)
	if strings.HasPrefix(next.ID, "next.") && next.ID != "next.nothing" && next.ID != "next.pulse" {
		out = append(out, Cue{ID: next.ID, Values: next.Values})
	}
	return append(out, m.protocol.askedWhoFirst(s, m.protocol.doubtedWho(s))...)
}

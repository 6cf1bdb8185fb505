package timeline

import (
	"math"
	"slices"
	"strings"
)

func reply(id string, e Event, now Time, p Priority) Cue {
	keep := Seconds(8)
	if p == ReadBack { // it waits for those before it: silence would mean that it was not heard
		keep = Seconds(12)
	}
	return Cue{ID: id, At: now, Expires: now + keep, Priority: p, Seq: e.Seq, About: e.Seq}
}

// answer is the cue that closes the loop on a callout: its read-back, or the
// answer to a question.
func (m *Machine) answer(e Event, now Time) Cue {
	if e.Kind == CodeEnd && m.state.Ended != Never {
		return reply("answer.closed", e, now, Answer)
	}
	c := m.answerOf(e, now)
	if c.ID == "answer.nocode" && m.state.Ended != Never { // one did
		c.ID = "answer.closed"
	}
	return c
}

func (m *Machine) answerOf(e Event, now Time) Cue {
	p := m.protocol.For(m.state)
	switch f, name := e.Kind.Family(); f {
	case "ask.dose.":
		return m.dose(e, now, name)
	case "ask.given.", "ask.since.":
		return m.given(e, now, f, name)
	}
	switch e.Kind {
	case AskTime:
		c := m.codeTime(e, now)
		if c.ID != "answer.nocode" {
			c.Parts = m.state.toldBefore()
		}
		return c
	case AskNext:
		return m.next(e, now)
	case AskSummary:
		return m.summary(e, now)
	case CausesReview:
		c := reply("answer.causes", e, now, Answer)
		c.Items, c.Expires = p.likelyFirst(m.state), now+Seconds(10)
		return c
	case AskCauses:
		return reply("answer.causes.left", e, now, Answer).listing(p.CausesLeft(m.state), "answer.causes.none")
	case SayAgain:
		return m.again(e, now)
	case AskShocks:
		return m.shocks(e, now)
	case AskMissing:
		return reply("answer.missing", e, now, Answer).listing(p.RoundLeft(m.state), "answer.missing.none")
	case AskBasis:
		return m.basis(e, now)
	}
	return m.readBack(e, now)
}

// listing is an answer with its items, or none of them.
func (c Cue) listing(items []string, none string) Cue {
	if c.Items = items; len(items) == 0 {
		c.ID = none
	}
	return c
}

// shocks answers how many were given.
func (m *Machine) shocks(e Event, now Time) Cue {
	if m.nobodyYet() {
		return reply("answer.nocode", e, now, Answer)
	}
	c := reply("answer.shocks", e, now, Answer).with("shocks", float64(m.state.shocksInAll()))
	c.Parts = counted("before.of", "count", float64(m.state.ShocksBefore))
	c.Parts = append(c.Parts, counted("shocks.pulse", "shocks", float64(m.state.pulseShocks()))...)
	return c
}

// nobodyYet reports whether no case runs or has just ended: a number of what was given would be
// taken for that of the patient who lies there.
func (m *Machine) nobodyYet() bool {
	s := m.state
	return !s.Running() && s.Ended == Never && len(s.Given) == 0 && len(s.Shocks) == 0
}

// again is the last answer once more.
func (m *Machine) again(e Event, now Time) Cue {
	c := m.last
	if c.ID == "" {
		c.ID = "answer.nothing"
	}
	c.At, c.Expires, c.Priority, c.Seq = now, now+Seconds(6), Answer, e.Seq
	return c
}

// dose answers what to give: drug, amount and volume, for what was called of the pulse. "shock" asks for the
// energy. What it rests on is told when it is asked for: see basis.
func (m *Machine) dose(e Event, now Time, drug string) Cue {
	p := m.protocol.For(m.state)
	c := reply("dose", e, now, Answer)
	c.Expires, c.Items = now+Seconds(8), []string{drug}
	amount, unit, ok := m.amount(drug)
	if m.state.Ended != Never { // who comes next is nobody yet
		return reply("answer.nocode", e, now, Answer)
	}
	if instead, none := m.noAmount(c, drug); none {
		return instead
	}
	if drug == "shock" { // before any other answer
		c.Items, c.Priority = nil, Cycle
	}
	c.Parts = append(c.Parts, m.state.amountTold(amount, unit, ok))
	if !ok && !amount.Amount.numberless() {
		c.ID = "dose.unknown"
		return c
	}
	if minutes := p.over(m.state, drug, amount); minutes > 0 {
		c.Parts = append(c.Parts, Cue{ID: "dose.over"}.with("minutes", minutes))
	}
	if amount.Ml > 0 {
		c.Parts = append(c.Parts, Cue{ID: "dose.volume"}.with("ml", amount.Ml).with("mg_per_ml", p.Drugs[drug].MgPerMl))
	}
	c = p.Drugs[drug].cautioned(c)
	c.Parts = append(c.Parts, p.doubts(m.state, drug, amount)...)
	c.Parts = append(c.Parts, m.protocol.askedWhose(m.state)...)
	return c
}

// noAmount is the answer that stands for an amount where none may be told.
func (m *Machine) noAmount(c Cue, drug string) (instead Cue, none bool) {
	p := m.protocol.For(m.state)
	if m.state.OfNewborn() || drug == "epinephrine" && m.state.anaphylactic() {
		c.ID, c.Parts = "dose.unknown", []Cue{{ID: "dose.check"}}
		return c, true
	}
	if who := p.doubtedWho(m.state); who != nil {
		c.ID, c.Parts = "dose.unknown", m.protocol.askedWhoFirst(m.state, who)
		return c, true
	}
	if none, spent := p.spent(m.state, drug); spent {
		c.ID, c.Parts = "dose.spent", []Cue{none}
		return c, true
	}
	return c, false
}

// amountTold tells an amount, or what stands in its way.
func (s State) amountTold(amount Computed, unit string, ok bool) Cue {
	switch a := amount.Amount; {
	case !ok && a.PerKg > 0:
		return s.askWeight()
	case a.Maximum:
		return Cue{ID: "dose.maximum"}
	case a.MgMin > 0:
		return Cue{ID: "dose.rate"}.with("mg_min", a.MgMin).with("mg_min_max", max(a.MgMin, a.MgMinMax))
	case !ok:
		return Cue{ID: "dose.check"}
	}
	return Cue{ID: "dose." + unit}.with(strings.TrimSuffix(unit, ".sync"), amount.Value)
}

// askWeight asks for the weight or, if one was called that cannot be, whether it is.
func (s State) askWeight() Cue {
	if s.WeightKg > 0 {
		return Cue{ID: "question.weight"}.with("weight_kg", s.WeightKg)
	}
	return Cue{ID: "weight.unknown"}
}

// asksWeight reports whether a sentence asks whether a weight is right.
func asksWeight(c Cue) bool {
	asks := func(c Cue) bool { return c.ID == "question.weight" }
	return asks(c) || slices.ContainsFunc(c.Parts, asks)
}

// doubts tell what speaks against an amount that is answered, or what it rests on.
func (p *Protocol) doubts(s State, drug string, amount Computed) (out []Cue) {
	_, basis := p.Weight(s)
	for _, q := range p.coldQuestion(s, drug) {
		out = append(out, q.Cue)
	}
	for _, q := range p.answerQuestions(s, drug, amount) {
		out = append(out, q.Cue)
	}
	if amount.PerKg && basis != "called" {
		out = append(out, Cue{ID: "dose.estimated"})
	}
	switch {
	case amount.Raised:
		out = append(out, Cue{ID: "dose.raised"})
	case amount.Capped:
		out = append(out, Cue{ID: "dose.limited"})
	}
	return out
}

// answerQuestions are what the amount that is answered would contradict if it were given: asked
// before it is, it can still be held back.
func (p *Protocol) answerQuestions(s State, drug string, amount Computed) []question {
	if drug != "shock" {
		e := Event{Kind: Kind("drug." + drug), Values: map[string]float64{"dose_mg": amount.Value}}
		return append(p.pulseQuestion(s, e, drug), p.doubtQuestions(s, drug)...)
	}
	if _, synced, _ := p.NextEnergy(s); synced {
		return nil
	}
	return p.shockQuestions(s, Event{Kind: ShockCharging})
}

// spent reports whether all that the protocol gives of a drug was given, and asks
// whether more is meant: a further dose is not computed.
func (p *Protocol) spent(s State, drug string) (question Cue, spent bool) {
	d, given := p.Drugs[drug], s.Doses(drug)
	kg, _ := p.Weight(s)
	switch limit := d.TotalCap(kg); {
	case d.MaxDoses > 0 && len(given) >= d.MaxDoses:
		return Cue{ID: "dose.spent.doses"}.with("doses", float64(d.MaxDoses)), true
	case limit > 0 && s.Total(drug) >= limit*0.999:
		return Cue{ID: "dose.spent.total"}.with("dose_mg", limit), true
	}
	return Cue{}, false
}

// given answers how much of a drug was given in all, or how long ago the last.
func (m *Machine) given(e Event, now Time, family, drug string) Cue {
	if m.nobodyYet() {
		return reply("answer.nocode", e, now, Answer)
	}
	doses := m.state.Given[drug]
	c := reply("answer.given.none", e, now, Answer)
	c.Items = []string{drug}
	if len(doses) == 0 {
		return c
	}
	if family == "ask.since." && doses[len(doses)-1].Untimed {
		c.ID = "answer.before"
		return c
	}
	if family == "ask.since." {
		c.ID = "answer.since"
		t := math.Max(1, math.Floor((e.At - doses[len(doses)-1].At).Seconds()))
		return c.with("minutes", math.Floor(t/60)).with("seconds", math.Mod(t, 60))
	}
	c.ID = "answer.given"
	c = c.with("doses", float64(len(doses)))
	c.Parts = append(counted("amount.dose_mg", "dose_mg", m.state.Total(drug)),
		counted("before.doses", "doses", float64(DosesBefore(doses)))...)
	return c
}

// amount is the next dose of a drug, or with "shock" the next energy, and the
// slot that it is spoken in.
func (m *Machine) amount(drug string) (amount Computed, unit string, ok bool) {
	p := m.protocol.For(m.state)
	if drug == "shock" {
		amount, synced, ok := p.NextEnergy(m.state)
		if synced {
			return amount, "energy_j.sync", ok
		}
		return amount, "energy_j", ok
	}
	kg, _ := p.Weight(m.state)
	amount, ok = p.Dose(p.entry(m.state, drug), len(m.state.Doses(drug)), kg)
	return amount, "dose_mg", ok
}

// amountTold is the drug, or "shock", of which coxswain told an amount last: asked for it,
// or with its advice. If something else was asked since, it is empty; told is false if
// nothing was said that can rest on anything.
func (m *Machine) amountTold(basis Event) (drug string, told bool) {
	for _, last := range slices.Backward(m.events) {
		if last.At < m.advised.At {
			break
		}
		if last.Seq != basis.Seq && strings.HasPrefix(string(last.Kind), "ask.") && last.Kind != AskBasis {
			if f, drug := last.Kind.Family(); f == "ask.dose." {
				return drug, true
			}
			return "", true
		}
	}
	if _, energy := m.advised.Values["energy_j"]; energy {
		return "shock", true
	}
	for _, name := range strings.Split(m.advised.ID, ".") {
		if _, known := m.protocol.Drugs[name]; known {
			return name, true
		}
	}
	return "", len(m.said) > 0
}

func (m *Machine) codeTime(e Event, now Time) Cue {
	c := reply("answer.nocode", e, now, Answer)
	if from := m.state.CodeAt(); from != Never && m.state.Ended == Never {
		t := math.Floor((e.At - from).Seconds())
		if t < 1 {
			c.ID = "answer.time.new"
			return c
		}
		c.ID, c.Values = "answer.time", map[string]float64{"minutes": math.Floor(t / 60), "seconds": math.Mod(t, 60)}
	}
	return c
}

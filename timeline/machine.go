package timeline

import (
	"math"
	"slices"
)

// Machine turns events and the passing of session time into cues, each said
// once. It holds no clock: Step and Tick are told the time. Same calls, same
// cues. A Machine is for one goroutine.
type Machine struct {
	protocol *Protocol
	events   []Event
	state    State
	newest   Time  // latest At of the events
	agenda   []Cue // of the state, by time
	wake     Time  // when the next cue of the agenda is due
	last     Cue   // the last answer, for "say again"
	said     map[string]bool
}

// Ready is what a Step leads to. Events must be appended to the journal, and
// stepped in turn, before Cues are sounded.
type Ready struct {
	Events []Event
	Cues   []Cue
}

// NewMachine returns a machine for p with the events of a session so far.
func NewMachine(p *Protocol, events ...Event) *Machine {
	m := &Machine{protocol: p, events: slices.Clone(events), state: Fold(events), said: map[string]bool{}}
	for _, e := range events {
		m.newest = max(m.newest, e.At)
	}
	m.plan()
	return m
}

// plan follows the state: what is due, and when to look again.
func (m *Machine) plan() { m.agenda, m.wake = m.protocol.Agenda(m.state), 0 }

// State returns where the code stands.
func (m *Machine) State() State { return m.state }

// Step takes an event that is already in the journal; now is the session time
// at which it became known.
func (m *Machine) Step(e Event, now Time) Ready {
	asked := m.protocol.questions(m.state, e)
	m.events = append(m.events, e)
	if e.Kind == Retraction || e.Replaces != 0 || e.At < m.newest { // the past has changed
		m.state = Fold(m.events)
	} else {
		m.state.apply(e)
	}
	m.newest = max(m.newest, e.At)
	m.plan()
	if !e.Kind.IsCallout() || e.Replaces != 0 {
		return Ready{}
	}
	switch f, name := e.Kind.Family(); {
	case e.Kind == Undo:
		return m.undo(e, now)
	case e.Kind == Backdate:
		return m.backdate(e, now)
	case e.Kind == CorrectEnergy:
		return m.correct(e, now, "")
	case f == "correct.drug.":
		return m.correct(e, now, name)
	}
	r := Ready{Cues: []Cue{m.answer(e, now)}}
	if e.Kind == SayAgain {
		return r
	}
	m.last = r.Cues[0]
	for _, q := range asked {
		q.At, q.Expires, q.Seq = now, now+Seconds(12), e.Seq
		r.Cues = append(r.Cues, q)
		r.Events = append(r.Events, Event{At: e.At, Kind: Question, Cue: q.ID})
	}
	return r
}

// Tick returns the cues whose moment has come by now. Until the next one is
// due it only compares two numbers: a session asks a hundred times a second.
func (m *Machine) Tick(now Time) []Cue {
	if now < m.wake {
		return nil
	}
	var out []Cue
	m.wake = math.MaxInt64
	for _, c := range m.agenda {
		if c.At > now {
			m.wake = c.At
			break
		}
		if k := c.key(); !m.said[k] {
			m.said[k] = true
			if now <= c.Expires {
				out = append(out, c)
			}
		}
	}
	return out
}

func (m *Machine) undo(e Event, now Time) Ready {
	last, ok := LastRetractable(m.events)
	if !ok {
		return Ready{Cues: []Cue{reply("undo.nothing", e, now, ReadBack)}}
	}
	c := reply("undone."+string(last.Kind), e, now, ReadBack)
	c.Values = last.Values
	return Ready{Events: []Event{{At: e.At, Kind: Retraction, Retracts: last.Seq}}, Cues: []Cue{c}}
}

// backdate moves the last callout to the moment that was claimed: the event
// that stood is retracted, the new one keeps when it was heard.
func (m *Machine) backdate(e Event, now Time) Ready {
	last, ok := LastRetractable(m.events)
	if !ok {
		return Ready{Cues: []Cue{reply("undo.nothing", e, now, ReadBack)}}
	}
	moved := last
	moved.At = max(0, last.At-Seconds(60*e.Values["minutes"]))
	return replace(e, last, moved, reply("backdated", e, now, ReadBack).with("minutes", e.Values["minutes"]))
}

// replace puts an event in the place of an earlier one, because of e.
func replace(e, last, with Event, c Cue) Ready {
	with.Seq, with.Replaces = 0, last.Seq
	return Ready{Events: []Event{{At: e.At, Kind: Retraction, Retracts: last.Seq}, with}, Cues: []Cue{c}}
}

// correct replaces the drug, or with drug empty the energy, of the last
// callout of that sort. The amount of another drug is not taken over.
func (m *Machine) correct(e Event, now Time, drug string) Ready {
	gone := Retracted(m.events)
	for i := len(m.events) - 1; i >= 0; i-- {
		last := m.events[i]
		_, isDrug := last.Kind.Drug()
		isShock := last.Kind == ShockGiven || last.Kind == CardioversionDone
		if gone[last.Seq] || isDrug != (drug != "") || !isDrug && !isShock {
			continue
		}
		fixed := last
		fixed.Values = e.Values
		if drug != "" {
			fixed.Kind = Kind("drug." + drug)
		}
		c := reply("said."+string(fixed.Kind), e, now, ReadBack)
		c.Values = fixed.Values
		return replace(e, last, fixed, Cue{ID: "corrected", At: now, Expires: c.Expires, Priority: ReadBack, Parts: []Cue{c}})
	}
	return Ready{Cues: []Cue{reply("undo.nothing", e, now, ReadBack)}}
}

func reply(id string, e Event, now Time, p Priority) Cue {
	return Cue{ID: id, At: now, Expires: now + Seconds(4), Priority: p, Seq: e.Seq}
}

// answer is the cue that closes the loop on a callout: its read-back, or the
// answer to a question.
func (m *Machine) answer(e Event, now Time) Cue {
	p := m.protocol.For(m.state)
	if f, name := e.Kind.Family(); f == "ask.dose." {
		return m.dose(e, now, name)
	}
	switch e.Kind {
	case AskTime:
		return m.codeTime(e, now)
	case AskNext:
		return m.next(e, now)
	case AskSummary:
		return m.summary(e, now)
	case CausesReview:
		c := reply("answer.causes", e, now, Answer)
		c.Items, c.Expires = p.Causes, now+Seconds(10)
		return c
	case AskCauses:
		c := reply("answer.causes.left", e, now, Answer)
		if c.Items = p.CausesLeft(m.state); len(c.Items) == 0 {
			c.ID = "answer.causes.none"
		}
		return c
	case SayAgain:
		c := m.last
		if c.ID == "" {
			c.ID = "answer.nothing"
		}
		c.At, c.Expires, c.Priority, c.Seq = now, now+Seconds(6), Answer, e.Seq
		return c
	case Confirm:
		if m.state.Ended == e.At {
			return reply("confirmed", e, now, ReadBack)
		}
		return reply("confirm.nothing", e, now, ReadBack)
	}
	return m.readBack(e, now)
}

// readBack says the callout's keyword and numbers, and what only the protocol
// can add.
func (m *Machine) readBack(e Event, now Time) Cue {
	p := m.protocol.For(m.state)
	c := reply("said."+string(e.Kind), e, now, ReadBack)
	c.Values = e.Values
	switch e.Kind {
	case AirwaySecured:
		c = p.say(c, "ventilation_s", "seconds")
	case PatientAge, PatientAgeMonths:
		if kg, _ := p.Weight(m.state); kg > 0 && m.state.WeightKg == 0 {
			c.Parts = []Cue{Cue{ID: "weight.estimated"}.with("weight_kg", kg)}
		}
	}
	return c
}

// dose answers what to give: drug, amount, volume and what it rests on, always
// with the advice to check it. "shock" asks for the energy.
func (m *Machine) dose(e Event, now Time, drug string) Cue {
	p := m.protocol.For(m.state)
	kg, basis := p.Weight(m.state)
	c := reply("dose.unknown", e, now, Answer)
	c.Expires = now + Seconds(8)
	c.Items = []string{drug}
	amount, ok := p.Dose(drug, len(m.state.Given[drug]), kg)
	unit := "dose_mg"
	if drug == "shock" {
		c.Items, unit = nil, "energy_j"
		amount, ok = p.Energy(m.state.Unsynced(), kg)
	}
	switch {
	case !ok && amount.Amount.PerKg > 0:
		c.Parts = []Cue{{ID: "weight.unknown"}}
		return c
	case amount.Amount.Maximum:
		c.Parts = []Cue{{ID: "dose.maximum"}}
	case amount.Amount.MgMin > 0:
		c.Parts = []Cue{Cue{ID: "dose.rate"}.with("mg_min", amount.Amount.MgMin).with("mg_min_max", max(amount.Amount.MgMin, amount.Amount.MgMinMax))}
	case !ok:
		c.Parts = []Cue{{ID: "dose.check"}}
		return c
	default:
		c.Parts = append(c.Parts, Cue{ID: "dose." + unit}.with(unit, amount.Value))
	}
	c.ID = "dose"
	if amount.Amount.OverMin > 0 {
		c.Parts = append(c.Parts, Cue{ID: "dose.over"}.with("minutes", amount.Amount.OverMin))
	}
	if amount.Ml > 0 {
		c.Parts = append(c.Parts, Cue{ID: "dose.volume"}.with("ml", amount.Ml).with("mg_per_ml", p.Drugs[drug].MgPerMl))
	}
	if amount.PerKg {
		c.Parts = append(c.Parts, Cue{ID: "dose.basis"}.with("per_kg", amount.Amount.PerKg).with("weight_kg", kg))
		if basis != "called" {
			c.Parts = append(c.Parts, Cue{ID: "dose.estimated"})
		}
	}
	if amount.Capped {
		c.Parts = append(c.Parts, Cue{ID: "dose.limited"})
	}
	c.Parts = append(c.Parts, Cue{ID: "dose.check"})
	return c
}

func (m *Machine) codeTime(e Event, now Time) Cue {
	c := reply("answer.nocode", e, now, Answer)
	if m.state.Started != Never {
		t := math.Floor((e.At - m.state.Started).Seconds())
		c.ID, c.Values = "answer.time", map[string]float64{"minutes": math.Floor(t / 60), "seconds": math.Mod(t, 60)}
	}
	return c
}

// next answers "what is next" with one thing: what is due now, most urgent
// first, or else the next thing to come.
func (m *Machine) next(e Event, now Time) Cue {
	s := m.state
	c := reply("answer.nocode", e, now, Answer)
	switch {
	case s.Ended != Never:
		return c
	case s.PulsePresent && s.StabilityAt == Never:
		c.ID = "next.pulse"
		return c
	case !s.InArrest() && s.StabilityAt == Never:
		return c
	case s.InArrest() && !s.Compressing:
		c.ID = "next.compressions"
		return c
	}
	var soon *Cue
	for _, a := range m.agenda {
		name := nextName[a.ID]
		if name == "" {
			continue
		}
		if a.At <= now { // due since then, and not done: it would be gone from the agenda
			c.ID, c.Values = name+".now", a.Values
			return c
		}
		if soon == nil {
			soon = &a
		}
	}
	c.ID = "next.nothing"
	if soon != nil {
		secs := math.Round((soon.At-now).Seconds()/5) * 5
		c.ID = nextName[soon.ID] + ".in"
		c.Values = map[string]float64{"minutes": math.Floor(secs / 60), "seconds": math.Mod(secs, 60)}
	}
	return c
}

// nextName says which agenda items answer "what is next", and by what name.
var nextName = map[string]string{
	"cycle.end": "next.rhythm", "epinephrine.first": "next.epinephrine", "epinephrine.due": "next.epinephrine",
	"antiarrhythmic.amiodarone": "next.amiodarone", "antiarrhythmic.lidocaine": "next.lidocaine", "magnesium": "next.magnesium",
	"peri.cardioversion": "next.cardioversion", "peri.resync": "next.cardioversion", "peri.unsynchronised": "next.shock",
	"peri.adenosine": "next.adenosine", "peri.vagal": "next.vagal", "peri.amiodarone": "next.amiodarone", "peri.atropine": "next.atropine",
	"peri.pacing": "next.pacing", "peri.ecg": "next.ecg",
}

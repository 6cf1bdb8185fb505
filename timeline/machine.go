package timeline

import "math"

// Machine turns events and the passing of session time into cues, each said
// once. It holds no clock: Step and Tick are told the time. Same calls, same
// cues. A Machine is for one goroutine.
type Machine struct {
	protocol *Protocol
	events   []Event
	state    State
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
	return &Machine{protocol: p, events: events, state: Fold(events), said: map[string]bool{}}
}

// State returns where the code stands.
func (m *Machine) State() State { return m.state }

// Step takes an event that is already in the journal; now is the session time
// at which it became known.
func (m *Machine) Step(e Event, now Time) Ready {
	m.events = append(m.events, e)
	if e.Kind == Retraction {
		m.state = Fold(m.events) // only a retraction can change the past
		return Ready{}
	}
	m.state.apply(e)
	if !e.Kind.IsCallout() {
		return Ready{}
	}
	if e.Kind == Undo {
		return m.undo(e, now)
	}
	return Ready{Cues: []Cue{m.answer(e, now)}}
}

// Tick returns the cues whose moment has come by now.
func (m *Machine) Tick(now Time) []Cue {
	var out []Cue
	for _, c := range m.protocol.Agenda(m.state) {
		if c.At > now {
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

func reply(id string, e Event, now Time, p Priority) Cue {
	return Cue{ID: id, At: now, Expires: now + Seconds(4), Priority: p, Seq: e.Seq}
}

// answer is the cue that closes the loop on a callout: its read-back, or the
// answer to a question.
func (m *Machine) answer(e Event, now Time) Cue {
	switch e.Kind {
	case AskTime:
		return m.codeTime(e, now)
	case AskNext:
		return m.next(e, now)
	case CausesReview:
		c := reply("answer.causes", e, now, Answer)
		c.Items, c.Expires = m.protocol.Causes, now+Seconds(10)
		return c
	}
	c := reply("said."+string(e.Kind), e, now, ReadBack)
	c.Values = e.Values
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
	case s.PulsePresent && s.Ended == Never:
		c.ID = "next.pulse"
		return c
	case !s.InArrest():
		return c
	case !s.Compressing:
		c.ID = "next.compressions"
		return c
	}
	var soon *Cue
	for _, a := range m.protocol.Agenda(s) {
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
	"antiarrhythmic.amiodarone": "next.amiodarone", "antiarrhythmic.lidocaine": "next.lidocaine",
}

package timeline

import (
	"maps"
	"slices"
	"strings"
)

// Machine turns events and the passing of session time into cues, each said
// once. It holds no clock: Step and Tick are told the time. Same calls, same
// cues. A Machine is for one goroutine.
type Machine struct {
	protocol *Protocol
	events   []Event
	state    State
	newest   Time    // latest At of the events
	agenda   []Cue   // of the state, by time
	planned  Time    // up to when
	wake     Time    // when the next cue of the agenda is due
	rearm    bool    // the past has changed: what is due now may have been passed over
	last     Cue     // the last answer, for "say again"
	repairs  Event   // the last callout, if it was a repair
	rate     float64 // of the beat, as configured; 0: not known
	untold   Time    // until when its answer may wait to be said; 0: it was
	said     map[string]bool
	advised  Cue // the last advice that told an amount, for "what is that based on"
	wondered Cue // the last question from the clock, whether there was a shock or anybody compresses
}

// Ready is what a Step leads to. Events must be appended to the journal, and
// stepped in turn, before Cues are sounded. Cues about the events Withdrawn,
// which were taken back, must not sound any more; when the case has Ended,
// nothing that still waits must.
type Ready struct {
	Events    []Event
	Cues      []Cue
	Withdrawn []uint64
	Ended     bool
}

// NewMachine returns a machine for p with the events of a session so far.
func NewMachine(p *Protocol, events ...Event) *Machine {
	m := &Machine{protocol: p, events: slices.Clone(events), state: Fold(events), said: map[string]bool{}}
	for _, e := range events {
		m.newest = max(m.newest, e.At)
	}
	m.plan(m.newest)
	return m
}

// ahead is how far a machine plans what is said again and again.
var ahead = Seconds(120)

// plan follows the state from now: what is due, and when to look again.
func (m *Machine) plan(now Time) {
	m.planned, m.wake = max(now, m.newest)+ahead, 0
	m.agenda = m.protocol.Agenda(m.state, m.planned)
}

// State returns where the code stands.
func (m *Machine) State() State { return m.state }

// Step takes an event that is already in the journal; now is the session time
// at which it became known.
func (m *Machine) Step(e Event, now Time) Ready {
	was, back := m.add(e, now)
	switch {
	case e.Kind == Retraction:
		return Ready{Withdrawn: []uint64{e.Retracts}}
	case !e.Kind.IsCallout() || e.Replaces != 0:
		return Ready{}
	}
	if r, ok := m.repair(e, now); ok {
		if len(r.Cues) > 0 && !r.Ended { // "say again" repeats what was said last, and a no is to that
			m.last = r.Cues[0]
		}
		return r
	}
	m.untold = 0
	if r, ok := m.holdBack(was, e, now); ok {
		return r
	}
	r := m.ask(was, e, m.answer(e, now))
	if fixed, ok := m.inRecordsUnit(e); ok {
		r.Events = append(fixed, r.Events...)
		r.Cues[0].About = 0 // e is taken back, and what is said of it holds
	}
	if len(back) > 0 {
		r.Cues[0].Parts = append(r.Cues[0].Parts, m.reopened(e, now)...)
		r.Events = append(back, r.Events...)
		if m.state.heldOpen() { // a yes is to going on
			r.Events = append(r.Events, Event{At: e.At, Kind: Question, Cue: whoAgain})
			r.Cues[0].Parts = append(r.Cues[0].Parts, Cue{ID: whoAgain})
		}
	}
	if e.Kind != SayAgain {
		m.last = r.Cues[0]
	}
	if asksWeight(m.last) && strings.HasPrefix(string(e.Kind), "ask.") { // asked again with the answer: a yes answers it
		r.Events = append(r.Events, Event{At: e.At, Kind: Question, Cue: "question.weight"})
	}
	return r
}

// Add takes a callout that is already in the journal and answers nothing: what follows in
// the same breath, the time that it happened, answers for both. What it leads to must be
// appended and stepped.
func (m *Machine) Add(e Event, now Time) []Event {
	_, back := m.add(e, now)
	return back
}

// add takes an event into the state; was is the state before, back what opens an ended case
// again, if e shows that it goes on.
func (m *Machine) add(e Event, now Time) (was State, back []Event) {
	if m.state.Reopens(e) {
		back = m.reopen(e)
	}
	was = m.state
	m.events = append(m.events, e)
	if e.Kind == Retraction || e.Replaces != 0 || e.At < m.newest { // the past has changed
		m.state, m.rearm = Fold(m.events), true
	} else {
		m.state.apply(e)
		m.rearm = m.rearm || m.protocol.withheld(was) && !m.protocol.withheld(m.state) // warm again
	}
	if e.Kind.IsCallout() && e.Kind != Confirm && e.Kind != Refuse { // what was asked before it is over
		m.wondered = Cue{}
	}
	m.newest = max(m.newest, e.At)
	m.plan(now)
	return was, back
}

// repair does what e wants done to what was called before; ok is false if it wants
// nothing of that sort.
func (m *Machine) repair(e Event, now Time) (r Ready, ok bool) {
	do := m.repairOf(e.Kind)
	if do == nil {
		return Ready{}, false
	}
	if e.Kind == m.repairs.Kind && maps.Equal(e.Values, m.repairs.Values) && now < m.untold {
		return Ready{}, true // said again because nobody heard it answered yet: it is done once
	}
	if r = do(e, now); len(r.Cues) > 0 {
		m.repairs, m.untold = e, r.Cues[0].Expires
	}
	return r, true
}

func (m *Machine) repairOf(k Kind) func(Event, Time) Ready {
	switch {
	case k == Undo:
		return m.undo
	case k == Confirm:
		return m.confirm
	case k == Backdate:
		return m.backdate
	case k.corrects():
		return m.correct
	}
	return nil
}

// Spoken tells that a cue has begun to sound, or will not any more.
func (m *Machine) Spoken(c Cue) {
	if c.About == m.repairs.Seq {
		m.untold = 0
	}
}

// corrects reports whether k puts an earlier callout right.
func (k Kind) corrects() bool {
	f, _ := k.Family()
	return k == CorrectEnergy || f == "correct.drug."
}

// ask joins the answer to a callout and the questions that it raises: a
// question that names what was said takes the place of the read-back, any other
// follows it at once, so that it is not said over its own answer.
func (m *Machine) ask(was State, e Event, answer Cue) Ready {
	var r Ready
	for _, q := range m.raised(was, e) {
		r.Events = append(r.Events, Event{At: e.At, Kind: Question, Cue: q.ID, Values: q.Values})
		switch {
		case q.instead:
			q.At, q.Expires, q.Seq, q.About, q.Priority = answer.At, answer.Expires, e.Seq, e.Seq, ReadBack
			plain := answer
			q.Parts, q.plain = answer.Parts, &plain
			answer = q.Cue
		default:
			answer.Parts = append(answer.Parts, q.Cue)
		}
	}
	r.Cues = []Cue{answer}
	return r
}

// raised are the questions that a callout raises in a state and that were not asked yet,
// if they are asked once.
func (m *Machine) raised(was State, e Event) []question {
	return slices.DeleteFunc(m.protocol.questions(was, e), func(q question) bool {
		asked := q.once != "" && m.said[q.once]
		m.said[q.once] = q.once != ""
		return asked
	})
}

// wonders are the questions from the clock, and what a "yes" to each is answered with: it says too
// little to count for a shock or for hands on.
var wonders = map[string]string{
	"clear.ask": "confirm.shock", "shock.open": "confirm.shock", "silence.clear": "confirm.shock",
	"silence": "confirm.hands",
}

// soonerThan is what is not made up for once what is due later is due, too.
var soonerThan = map[string]string{"epinephrine.overdue": "epinephrine.due"}

// Tick returns the cues whose moment has come by now. Until the next one is
// due it only compares two numbers: a session asks a hundred times a second.
func (m *Machine) Tick(now Time) []Cue {
	if now < m.wake {
		return nil
	}
	if now >= m.planned {
		m.plan(now)
	}
	var out []Cue
	missed := map[string]Cue{} // by id: the last one whose moment was moved into the past
	m.wake = m.planned
	for _, c := range m.agenda {
		if c.At > now {
			m.wake = min(c.At, m.planned) // what repeats is only planned up to then
			break
		}
		delete(missed, soonerThan[c.ID])
		k := c.key()
		c.planned = k
		switch {
		case m.said[k]:
			delete(missed, c.ID)
			continue
		case now <= c.Expires:
			delete(missed, c.ID)
			if c.Priority == Due { // what has become due just now has as long to be said
				c.Expires = max(c.Expires, now+(c.Expires-c.At)/2)
			}
			out = append(out, c)
			if wonders[c.ID] != "" {
				m.wondered = c
			}
			if c.Values["dose_mg"] > 0 || c.Values["energy_j"] > 0 {
				m.advised = c
			}
		case m.rearm && c.Priority == Due:
			missed[c.ID] = c
		}
		m.said[k] = true
	}
	for _, id := range slices.Sorted(maps.Keys(missed)) {
		c := missed[id].asOf(now)
		c.At, c.Expires = now, now+c.Expires-c.At
		out = append(out, c)
		m.saidFor(c, now+m.protocol.Span("drug_again_s")/2)
	}
	m.rearm = false
	return out
}

// saidFor notes that a cue was said for those of its kind, too, that come until then: it was due long ago, and
// would be said twice at once.
func (m *Machine) saidFor(c Cue, until Time) {
	for _, x := range m.agenda {
		if x.ID == c.ID && x.At > c.At && x.At <= until {
			m.said[x.key()] = true
		}
	}
}

// Stale reports whether a cue that Tick returned is no longer due: what has
// been called since took its reason away. What waits to be said must not be.
func (m *Machine) Stale(c Cue) bool {
	return c.planned != "" && !slices.ContainsFunc(m.agenda, func(x Cue) bool { return x.key() == c.planned })
}

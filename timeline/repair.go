package timeline

import (
	"maps"
	"math"
	"slices"
	"strings"
)

// undo takes back the last callout, if it is recent; further back it asks.
func (m *Machine) undo(e Event, now Time) Ready {
	if r, ok := m.untakeWho(e, now); ok {
		return r
	}
	if r, ok := m.samePatient(e, now); ok {
		return r
	}
	last, near, ok := m.undoable(e.At)
	switch {
	case !ok || m.untaken(e):
		return Ready{Cues: []Cue{reply("undo.nothing", e, now, ReadBack)}}
	case !near:
		ask := named(reply("undo.ask", e, now, ReadBack), last)
		ask.Parts = nil // the amount would follow "say confirmed"
		return Ready{Events: []Event{{At: e.At, Kind: Question, Cue: ask.ID}}, Cues: []Cue{ask}}
	}
	return m.takeBack(last, e, now)
}

// takeBack retracts the last callout. If that was a correction, or was moved back, what
// stood before stands again: to take back a slip of the tongue loses no dose.
func (m *Machine) takeBack(last, e Event, now Time) Ready {
	if before, ok := m.corrected(last); ok {
		c := reply("undone.correction", e, now, ReadBack)
		c.Parts = []Cue{m.state.said(before)}
		return replace(e, last, before, c)
	}
	c := named(reply("undone", e, now, ReadBack), last)
	if m.before(last, last.At).Repeats(last) { // a dose or a shock told twice: the first stands
		c.ID, c.Parts = "undone.again", nil
	}
	if m.tookBackEnd(last) { // the end stays taken back: whoever was given up is to be called so again
		c.Parts = append(c.Parts, Cue{ID: "said." + string(CodeStart)})
	}
	r := Ready{Events: []Event{{At: e.At, Kind: Retraction, Retracts: last.Seq}}}
	off, since := m.handsSince(last, e)
	if since {
		r.Events = append(r.Events, off)
	}
	left := Fold(slices.DeleteFunc(slices.Clone(m.events), func(x Event) bool { return x.Seq == last.Seq }))
	switch {
	case m.state.Running() && !left.Running():
		c.Parts = append(c.Parts, Cue{ID: "answer.nocode"})
	case since || m.tookHands(left, e):
		c.Parts = append(c.Parts, Cue{ID: "compress.now"})
	}
	r.Cues = []Cue{c}
	return r
}

// corrected is what the team had called in the place of e, before it corrected it or
// moved it back; ok is false if e stands as it was called, or stands again after an undo.
func (m *Machine) corrected(e Event) (before Event, ok bool) {
	bySeq := func(seq uint64) (Event, bool) {
		i := slices.IndexFunc(m.events, func(x Event) bool { return seq != 0 && x.Seq == seq })
		if i < 0 {
			return Event{}, false
		}
		return m.events[i], true
	}
	before, ok = bySeq(e.Replaces)
	if ok && slices.ContainsFunc(m.events, func(x Event) bool { return x.Retracts == before.Seq && x.At == before.At }) {
		return Event{}, false // it was called with its time, in one breath
	}
	if f, _ := e.Kind.Family(); !ok || f == "measured." { // that was only its unit
		return Event{}, false
	}
	first, again := bySeq(before.Replaces)
	return before, !again || !first.same(e) || !m.byUndo(e)
}

// byUndo reports whether an undo put e in the place of another, and no callout did.
func (m *Machine) byUndo(e Event) bool {
	for _, x := range slices.Backward(m.events) {
		if x.Seq < e.Seq && x.Kind.IsCallout() && x.Replaces == 0 && x.Kind != Confirm {
			return x.Kind == Undo
		}
	}
	return false
}

// same reports whether two events say the same of the same moment.
func (e Event) same(x Event) bool {
	return e.At == x.At && e.Kind == x.Kind && maps.Equal(e.Values, x.Values)
}

// undoable is the newest callout of this case that an undo takes back. It is
// near if it was heard a short while and few callouts ago.
func (m *Machine) undoable(at Time) (last Event, near, ok bool) {
	return m.latest(at, func(e Event) bool {
		return e.Kind != CodeEnd || m.before(e, e.At).Ended == Never // a second end did nothing
	})
}

// TakesBack is the kind of the callout that an undo would take back now; false: none.
func (m *Machine) TakesBack() (Kind, bool) {
	last, _, ok := m.undoable(m.newest)
	return last.Kind, ok
}

// latest is the newest callout of this case that stands and is meant, and whether it is
// near: heard a short while and few callouts before.
func (m *Machine) latest(at Time, meant func(Event) bool) (last Event, near, ok bool) {
	gone, since := Retracted(m.events), 0
	for _, e := range slices.Backward(m.events) {
		if e.Seq <= m.state.EndedBy {
			break
		}
		if !e.Kind.IsCallout() || e.Kind.Row().Control {
			continue
		}
		if since++; !gone[e.Seq] && meant(e) {
			near = at-e.heard() <= rule("undo_s") && since <= int(rules["undo_callouts"].Value)
			return e, near, true
		}
	}
	return Event{}, false, false
}

// heard is when a callout was said; one that was moved back keeps that.
func (e Event) heard() Time {
	if e.Heard != nil {
		return e.Heard.End
	}
	return max(e.At, e.told)
}

// confirm answers "confirmed": the end of the code, or a long way back.
func (m *Machine) confirm(e Event, now Time) Ready {
	if m.state.Ended == e.At {
		m.last = Cue{}
		c := reply("confirmed", e, now, ReadBack)
		if m.doubtful() {
			c.ID += ".undo"
		}
		return Ready{Cues: []Cue{c}, Ended: true}
	}
	if m.state.answered == whoQuestion {
		return m.confirmedWho(e, now)
	}
	if m.state.answered == "question.weight" { // it sets doses: it is told again
		ask := m.state.askWeight()
		c := reply(ask.ID, e, now, ReadBack)
		c.Values = ask.Values
		return Ready{Cues: []Cue{c}, Events: []Event{{At: e.At, Kind: Question, Cue: c.ID}}}
	}
	if m.asksWho(e) {
		return Ready{Cues: []Cue{reply(whoAgain, e, now, ReadBack)}}
	}
	if r, ok := m.answered(e, now); ok {
		return r
	}
	last, _, ok := m.undoable(e.At)
	switch {
	case ok && strings.HasPrefix(m.state.answered, "question."): // it stands, as it was called
		c := m.readBack(last, now)
		c.Seq, c.About = e.Seq, e.Seq
		return Ready{Cues: []Cue{c}}
	}
	c := reply("confirm.nothing", e, now, ReadBack)
	if m.askedPulse(e) {
		c.ID = "confirm.pulse"
	}
	if w := m.wondered; w.ID != "" && e.At < w.Expires+rule("clear_s") {
		c.ID = wonders[w.ID]
	}
	if c.ID == "confirm.hands" && m.state.Compressing {
		c.ID = "said.other"
	}
	return Ready{Cues: []Cue{c}}
}

// askedPulse reports whether our last sentence asked for a pulse: a yes says too little for one, and a no
// too little for none.
func (m *Machine) askedPulse(e Event) bool {
	asks := func(c Cue) bool {
		return strings.HasSuffix(c.ID, ".pulse") && c.ID != "said.shock.given.pulse" || c.ID == "said.rhythm.organised"
	}
	return e.At < m.last.Expires+rule("clear_s") && (asks(m.last) || slices.ContainsFunc(m.last.Parts, asks))
}

// answered does what the undo or the correction before e wanted, if it was answered
// with a question.
func (m *Machine) answered(e Event, now Time) (r Ready, ok bool) {
	for _, x := range slices.Backward(m.events) {
		switch repair := x.Kind == Undo || x.Kind.corrects(); {
		case x.Kind == Retraction || repair && e.At-x.At > rule("confirm_s"):
			return Ready{}, false
		case x.Kind == Undo:
			last, _, ok := m.undoable(e.At)
			return m.takeBack(last, e, now), ok
		case repair:
			last, _, ok := m.correctable(x)
			return m.fix(last, x, e, now), ok
		case x.Seq != e.Seq && x.Kind.IsCallout():
			return Ready{}, false
		}
	}
	return Ready{}, false
}

// named adds what an event is, and its amounts, to a cue.
func named(c Cue, e Event) Cue {
	c.Items = []string{e.Kind.Row().Spoken}
	for _, slot := range []string{"dose_mg", "dose_g", "dose_meq", "energy_j", "weight_kg"} {
		if v, ok := e.Values[slot]; ok {
			c.Parts = append(c.Parts, Cue{ID: "amount." + slot}.with(slot, v))
		}
	}
	return c
}

// backdate moves the last callout to the moment that was claimed, but not to
// before the case began without it: the event that stood is retracted, the new
// one keeps when it was heard. Over one that it depends on it is not moved: that
// is asked about.
func (m *Machine) backdate(e Event, now Time) Ready {
	last, ok := m.dated()
	if !ok {
		return Ready{Cues: []Cue{reply("undo.nothing", e, now, ReadBack)}}
	}
	without := slices.DeleteFunc(slices.Clone(m.events), func(x Event) bool { return x.Seq == last.Seq })
	moved, together := m.movedBack(last, e, without), e.At == last.At
	if began := Fold(without).CodeAt(); last.Kind == CodeStart && began != Never && moved.At > began { // later than ours
		c := reply("said.code.start.again", e, now, ReadBack)
		c.Parts = []Cue{m.codeTime(e, now)}
		return Ready{Cues: []Cue{c}}
	}
	if between, ok := crossed(without, last, moved.At); ok {
		return notMoved(last, between, e, now)
	}
	var said []Cue
	var asked []Event
	if together { // nothing was asked about it yet
		said, asked = m.asks(moved, moved, e.At)
		if said[0].ID == "said."+string(last.Kind) {
			said = said[1:]
		}
	}
	c := named(reply("backdated", e, now, ReadBack), last)
	c.Parts = slices.Concat(c.Parts, m.state.stands(last, moved), said)
	if together && last.Kind == CodeStart && moved.Early() > 0 {
		c = m.startTold(last, e, now)
	}
	if moved.At == last.At && moved.sameAge(last) { // said again: it stands there already
		return Ready{Events: asked, Cues: []Cue{c}}
	}
	r := replace(e, last, moved, c)
	r.Events = append(r.Events, asked...)
	return r
}

// early are the numbers of a dose that was given so long before the start of the case, or
// since, if that is hardly above 0.
func early(values map[string]float64, before Time) map[string]float64 {
	out := maps.Clone(values)
	if delete(out, "before_s"); before < rule("rough_s") { // nobody knows it so exactly: it was at the start
		return out
	}
	return with(out, "before_s", math.Round(before.Seconds()))
}

// claimed is the moment that e claims for an event: no later than it was told, and where it
// stands already if that is only said again.
func (m *Machine) claimed(last, e Event) Time {
	at, told := e.At-Seconds(60*e.Values["minutes"]), last.At
	for _, x := range toldAt(m.events) {
		if x.Seq == last.Seq {
			told = max(told, x.told)
		}
	}
	stood := last.At - last.Early()
	if at = min(at, told); at > stood && at < stood+rule("undo_s")/4 {
		return stood
	}
	return at
}

// dose reports whether k is of a drug that was given, here or before arrival.
func (k Kind) dose() bool {
	_, drug := k.Drug()
	return drug || k.Before() != ""
}

// sameAge reports whether two events happened as long before the case, but for the time
// that it takes to say so again.
func (e Event) sameAge(x Event) bool {
	return (e.Early() == 0) == (x.Early() == 0) && max(e.Early()-x.Early(), x.Early()-e.Early()) < rule("undo_s")/4
}

// dated is the newest callout of this case that can have happened earlier than it was
// called: what was given, done or seen, and neither who lies there nor a setting.
func (m *Machine) dated() (last Event, ok bool) {
	gone := Retracted(m.events)
	for _, e := range slices.Backward(m.events) {
		if e.Seq <= m.state.EndedBy {
			break
		}
		if e.Kind.Datable() && !gone[e.Seq] {
			return e, true
		}
	}
	return Event{}, false
}

// Datable reports whether a callout tells of what can have happened before it was called.
func (k Kind) Datable() bool {
	group, _, _ := strings.Cut(string(k), ".")
	setting := group == "patient" || group == "metronome" || group == "round" || group == "told"
	return k.IsCallout() && !k.Row().Control && !k.Row().Confirm && !setting
}

// crossed is the last event that an event would be moved over and that it depends
// on: hands, looks, shocks and the pulse mean what they do by their order. A shock
// that is told late was given before hands went back on, and says nothing of what
// was done since; only a pulse that was lost it must follow.
func crossed(events []Event, last Event, to Time) (between Event, ok bool) {
	depends := inOrder
	if last.Kind == ShockGiven || last.Kind == CardioversionDone {
		depends = map[Kind]bool{PulseAbsent: true, PulseLost: true, ShockStacked: true}
	}
	if !inOrder[last.Kind] {
		return Event{}, false
	}
	for _, x := range standing(events) {
		if x.At > to && x.At <= last.At && depends[x.Kind] {
			between, ok = x, true
		}
	}
	return between, ok
}

var inOrder = map[Kind]bool{
	CompressionsStart: true, CompressionsStop: true, RhythmCheck: true, ShockClear: true, ShockGiven: true,
	ShockStacked: true, CardioversionDone: true, PulsePresent: true, ROSC: true, PulseAbsent: true, PulseLost: true,
}

// asks is what is said of a corrected event, with the questions that it raises as if it
// had been called so at first, and the questions to be logged.
func (m *Machine) asks(fixed, last Event, at Time) (said []Cue, asked []Event) {
	said = []Cue{m.state.said(fixed)}
	was := m.before(last, last.At)
	if who, held := m.protocol.whose(was, fixed); held {
		ask := m.protocol.whoAsked(was, who, fixed.Kind)
		return append(said, ask), []Event{{At: fixed.At, Kind: Question, Cue: whoQuestion}}
	}
	for _, q := range m.raised(was, fixed) {
		asked = append(asked, Event{At: at, Kind: Question, Cue: q.ID, Values: q.Values})
		if q.instead { // it names what was said
			plain := said[0]
			said[0], said[0].plain = q.Cue, &plain
			continue
		}
		said = append(said, q.Cue)
	}
	return said, asked
}

// before is the state that an event found that was called at a moment.
func (m *Machine) before(e Event, at Time) State {
	return Fold(slices.DeleteFunc(standing(m.events), func(x Event) bool { return x.Seq == e.Seq || x.At > at }))
}

// said names an event that was called before, and tells nobody to compress who does, or
// where there is a pulse.
func (s State) said(e Event) Cue {
	c := Cue{ID: "said." + string(e.Kind), Values: e.Values}
	switch f, name := e.Kind.Family(); {
	case f == "before.":
		return s.saidBefore(c, name, e)
	case strings.HasPrefix(f, "cause."):
		c.Items = []string{e.Kind.Row().Spoken}
	case e.Kind == ShockGiven && (!s.InArrest() || s.Compressing):
		c.ID += ".pulse"
	}
	return c
}

// replace puts an event in the place of an earlier one, because of e.
func replace(e, last, with Event, c Cue) Ready {
	with.Seq, with.Replaces = 0, last.Seq
	return Ready{Events: []Event{{At: e.At, Kind: Retraction, Retracts: last.Seq}, with}, Cues: []Cue{c}}
}

package drill

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"coxswain/timeline"
	"coxswain/timeline/figures"
)

// Finding is one line of a score.
type Finding struct {
	Points int           `json:"points"`
	Of     int           `json:"of"`
	Reason string        `json:"reason"` // what was looked for
	Found  string        `json:"found"`  // what the timeline shows
	Better string        `json:"better"` // what to do better; empty with full points
	Listen timeline.Time `json:"listen"` // the moment to listen to; Never if there is none
	Source string        `json:"source"`
}

// step is an event with the state that it found.
type step struct {
	state timeline.State
	event timeline.Event
}

// walk lists the events that stand, in the order of time, what was told twice once; the
// last step is the end, without an event.
func walk(events []timeline.Event) []step {
	var out []step
	for s, e := range timeline.Replay(events, math.MaxInt64) {
		if !s.Repeats(e) {
			out = append(out, step{s, e})
		}
	}
	return out
}

// Score judges a timeline: the case's own criteria, then what the protocol
// wants in every arrest. It is a function of the protocol and the events.
func (c *Case) Score(p *timeline.Protocol, events []timeline.Event) []Finding {
	so := walk(events)
	var out []Finding
	for _, l := range c.Look {
		f := Finding{Of: l.Points, Reason: l.Reason, Source: l.Source, Listen: timeline.Never}
		nth := l.Nth
		if l.NthOf != "" {
			if _, set := p.Spoken(l.NthOf); !set {
				f.Of, f.Found = 0, "does not apply: "+p.ID+" sets no number"
				f.Source = p.Values[l.NthOf].Source
				out = append(out, f)
				continue
			}
			nth = int(p.Get(l.NthOf))
			f.Reason += fmt.Sprintf(" (%d)", nth)
			if f.Source == "" {
				f.Source = p.Values[l.NthOf].Source
			}
		}
		at, place := l.reached(so, nth)
		switch {
		case at == timeline.Never && l.NthOf != "" && nth > 1 && happened(so, l.After):
			f.Of, f.Found = 0, "does not apply: the case ended before" // by this protocol it comes later
		case at == timeline.Never:
			f.Found, f.Better = "it never came to that", l.advice()
		case len(l.Do) > 0:
			l.done(&f, so, at, place)
		default:
			l.avoided(&f, so, at, place)
		}
		out = append(out, f)
	}
	return append(out, pauseFinding(p, events), questionFinding(so))
}

func happened(so []step, kinds []timeline.Kind) bool {
	return slices.ContainsFunc(so, func(s step) bool { return slices.Contains(kinds, s.event.Kind) })
}

// advice says what to do better, in the case's words or in general ones.
func (l Criterion) advice() string {
	if l.Better != "" {
		return l.Better
	}
	if len(l.Avoid) > 0 {
		return "Do not: " + l.Avoid[0].Row().Words + "."
	}
	s := "Call it aloud when it is done: " + l.Do[0].Row().Words
	if l.WithinS > 0 {
		s += fmt.Sprintf(", within %s s", timeline.FormatNumber(l.WithinS))
	}
	return s + "."
}

// done looks for what the team had to do: what holds at the moment, or what was
// done from the event that made the moment on.
func (l Criterion) done(f *Finding, so []step, at timeline.Time, place int) {
	f.Listen = at
	next := place + 1 // the first step after the moment
	for next < len(so)-1 && so[next].event.At <= at {
		next++
	}
	for _, k := range l.Do {
		if holds, _ := fact(so[next].state, k); holds && !l.Fresh && !slices.Contains(l.After, k) {
			f.Points, f.Found = l.Points, k.Row().Words+", earlier than looked for"
			return
		}
	}
	for i := place + 1; i < len(so); i++ {
		e := so[i].event
		if i >= next && !holdsAny(so[i].state, l.When) { // what is to be done is not called for any more
			f.Of, f.Found = 0, "does not apply: it had changed by then"
			return
		}
		if !l.counts(so[next].state, e.Kind, i < next) {
			continue
		}
		f.Listen = e.At
		f.Found = fmt.Sprintf("%s at %s, %.0f s after", e.Kind.Row().Words, e.At, max(0, (e.At-at).Seconds()))
		if l.WithinS == 0 || e.At <= at+timeline.Seconds(l.WithinS) {
			f.Points = l.Points
			return
		}
		f.Found += fmt.Sprintf(" (wanted within %s s)", timeline.FormatNumber(l.WithinS))
		f.Better = l.advice()
		return
	}
	f.Found, f.Better = "not called", l.advice()
}

// counts reports whether a callout is what had to be done: before its moment only an
// act counts, not a fact, which holds then or does not.
func (l Criterion) counts(then timeline.State, k timeline.Kind, early bool) bool {
	_, isFact := fact(then, k)
	return slices.Contains(l.Do, k) && !(early && (isFact || l.Fresh))
}

// fact reports whether the state shows that what k calls is so, and whether a
// state can show it at all: who was called a child is one, a shock is an act.
func fact(s timeline.State, k timeline.Kind) (holds, known bool) {
	switch k {
	case timeline.CompressionsStart:
		return s.Compressing, true
	case timeline.PulseLost, timeline.PulseAbsent:
		return s.InArrest(), true
	case timeline.PulsePresent, timeline.ROSC:
		return s.PulsePresent, true
	case timeline.PatientAdult, timeline.PatientChild, timeline.PatientInfant:
		return "patient."+s.Patient == string(k), true
	case timeline.PatientWeight:
		return s.WeightKg > 0, true
	case timeline.PatientAge, timeline.PatientAgeMonths:
		return s.AgeMonths > 0, true
	case timeline.PatientStable, timeline.PatientUnstable:
		return s.StabilityAt != timeline.Never && s.Unstable == (k == timeline.PatientUnstable), true
	case timeline.AirwaySecured:
		return s.AirwayAt != timeline.Never, true
	case timeline.CausesReview, timeline.AskCauses:
		return s.ReviewedAt != timeline.Never, true
	}
	return factOfFamily(s, k)
}

// factOfFamily is fact for a drug, an intervention or a cause.
func factOfFamily(s timeline.State, k timeline.Kind) (holds, known bool) {
	family, name := k.Family()
	switch family {
	case "drug.":
		return len(s.Doses(name)) > 0, true
	case "intervention.":
		at, done := s.Done[name]
		return done && at >= s.CodeAt(), true
	case "cause.considered.", "cause.treated.", "cause.excluded.":
		how := s.Causes[strings.ReplaceAll(name, "_", " ")]
		return how == strings.Split(family, ".")[1], true
	}
	return false, false
}

// avoided looks for what the team had to leave alone, by the state in which it
// was done.
func (l Criterion) avoided(f *Finding, so []step, at timeline.Time, place int) {
	arose := false // the team did something while it could have gone wrong
	for _, s := range so[place+1:] {
		if s.event.At < at || !tells(s.event.Kind) || !holdsAny(s.state, l.When) {
			continue
		}
		arose = true
		if slices.Contains(l.Avoid, s.event.Kind) {
			f.Listen, f.Better = s.event.At, l.advice()
			f.Found = fmt.Sprintf("%s at %s", s.event.Kind.Row().Words, s.event.At)
			if r := s.state.Rhythm; r != timeline.Unknown {
				f.Found += ", rhythm " + string(r)
			}
			return
		}
	}
	if !arose {
		f.Found, f.Better = "it never came to that", "The case did not get there: call what you see."
		return
	}
	f.Points, f.Found = l.Points, "not done"
}

// conditions are the words of When that are no rhythm.
var conditions = map[string]func(timeline.State) bool{
	"arrest":          timeline.State.InArrest,
	"pulse":           func(s timeline.State) bool { return !s.InArrest() && s.Ended == timeline.Never },
	"compressing":     func(s timeline.State) bool { return s.Compressing },
	"hands off":       timeline.State.HandsOff,
	"not compressing": func(s timeline.State) bool { return s.InArrest() && !s.Compressing },
}

func stateWords() []string { return slices.Sorted(maps.Keys(conditions)) }

func holdsAny(s timeline.State, words []string) bool {
	for _, w := range words {
		if is := conditions[w]; is != nil && is(s) || is == nil && s.Rhythm == timeline.Rhythm(w) {
			return true
		}
	}
	return len(words) == 0
}

// pauseFinding: a point is lost for each time the protocol's limit goes into a
// pause, 5 at most. Without an arrest there is nothing to judge. Of pauses that nobody
// called nobody knows how long they were: they earn nothing, each its share.
func pauseFinding(p *timeline.Protocol, events []timeline.Event) Finding {
	limit := p.Get("pause_limit_s")
	f := Finding{Of: 5, Points: 5, Found: "none longer", Listen: timeline.Never}
	f.Source = p.Values["pause_limit_s"].Source
	f.Reason = fmt.Sprintf("no pause in compressions above %s s", timeline.FormatNumber(limit))
	course := figures.Lay(events, timeline.End(events))
	switch s := course.State; {
	case s.ArrestAt == timeline.Never && len(events) > 0:
		f.Of, f.Points, f.Found = 0, 0, "does not apply: no arrest"
		return f
	case s.FirstCompression == timeline.Never:
		f.Points, f.Found, f.Better = 0, "compressions were never called", "Call it when compressions begin."
		return f
	}
	n, lost, longest, seen := 0, 0, 0.0, 0
	shocked := map[timeline.Time]bool{}
	for _, x := range course.State.Defibrillations() {
		shocked[x.At] = true
	}
	for _, pause := range course.Pauses {
		s := pause.Seconds()
		if !shocked[pause.From] { // else it began with a shock: its start was not called
			seen++
		}
		if s > limit {
			n++
			lost += max(1, int(s/limit))
		}
		if s > limit && s > longest {
			longest, f.Listen = s, pause.From
		}
	}
	if n > 0 {
		f.Found = fmt.Sprintf("%d longer, the longest %.0f s", n, longest)
		f.Better = "Charge while compressions go on, name who compresses next, and resume before anything else."
	}
	if unseen := course.Unseen(); unseen > 0 {
		f.Points = f.Of * seen / (seen + unseen)
		f.Found += fmt.Sprintf("; %d of %d pauses were not called, so unknown: at most %d of %d points",
			unseen, seen+unseen, f.Points, f.Of)
		f.Better = strings.TrimSpace(f.Better + " Call each pause when hands come off.")
	}
	f.Points = max(0, f.Points-lost)
	return f
}

// tells reports whether a callout tells what was seen or done: no order or question to
// coxswain does.
func tells(k timeline.Kind) bool { return k.IsCallout() && !k.Row().Control }

// reminders are questions that are no contradiction: whether sync is off, and what was
// told twice.
var reminders = map[string]bool{"question.sync.off": true, "question.drug.again": true, "question.shock.again": true}

// questionFinding: contradictions that were asked about, or noted because it was
// too late to ask.
func questionFinding(so []step) Finding {
	f := Finding{Of: 3, Reason: "no contradiction to the protocol", Listen: timeline.Never}
	f.Source = "the questions that coxswain asked"
	var asked []string
	called := false
	for _, s := range so {
		called = called || tells(s.event.Kind)
		if s.event.Kind != timeline.Question || reminders[s.event.Cue] || !strings.HasPrefix(s.event.Cue, "question.") {
			continue
		}
		asked = append(asked, timeline.Asked(s.event.Cue))
		if f.Listen == timeline.Never {
			f.Listen = s.event.At
		}
	}
	switch {
	case !called:
		f.Found, f.Better = "nothing was called", "Call aloud what you see and do."
	case len(asked) > 0:
		f.Points, f.Found = max(0, 3-len(asked)), strings.Join(asked, ", ")
		f.Better = "Say rhythm and drug aloud before the shock or the dose, and answer the question."
	default:
		f.Points, f.Found = 3, "none asked"
	}
	return f
}

package review

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"coxswain/timeline"
	"coxswain/timeline/figures"
)

// Part is a piece of the story and the moment that it tells of.
type Part struct {
	Text string        `json:"text"`
	At   timeline.Time `json:"at"` // timeline.Never: of no single moment
}

// Sentence is a sentence of the story, in parts that follow each other.
type Sentence []Part

// String returns the sentence as a person reads it.
func (s Sentence) String() string {
	var b strings.Builder
	for _, p := range s {
		b.WriteString(p.Text)
	}
	return b.String()
}

// story tells a code in a few plain sentences: how the arrest began, what was
// seen and done, how it ended, and what took longest. Times count from the
// start of the code, as in the table of events.
func story(c figures.Course, seen []Seen, events []timeline.Event, end timeline.Time, ranged bool) []Sentence {
	t := teller{c: c, seen: seen, events: events, end: end}
	who := t.who()
	if c.State.Started == timeline.Never {
		out := append(who, Sentence{{"No code was called in this record.", timeline.Never}})
		if len(seen)+len(c.State.Shocks)+len(c.State.Given) > 0 {
			out = append(out, t.course())
		}
		return out
	}
	out := append(who, t.onset(), t.course())
	if p := t.pauses(); p != nil {
		out = append(out, p)
	}
	if !ranged {
		out = append(out, Sentence{{"So many events are uncertain that no figure has a range.", timeline.Never}})
	}
	return out
}

// teller puts a course into words.
type teller struct {
	c      figures.Course
	seen   []Seen
	events []timeline.Event
	end    timeline.Time
}

// since is when a callout that stands was first made; Never if none was.
func (t teller) since(k timeline.Kind) timeline.Time {
	gone := timeline.Retracted(t.events)
	for _, e := range t.events {
		if e.Kind == k && !gone[e.Seq] {
			return e.At
		}
	}
	return timeline.Never
}

// at is a moment on the clock of the code.
func (t teller) at(x timeline.Time) string {
	if x -= max(0, t.c.State.CodeAt()); x < 0 {
		return (-x).Clock() + " before the arrest"
	}
	return x.Clock()
}

// length is a length of time as a person says it: in seconds below a minute.
func length(x timeline.Time) string {
	if x < timeline.Seconds(59.5) {
		return timeline.FormatNumber(math.Round(x.Seconds()*10)/10) + " s"
	}
	return x.Clock()
}

// who is who lies there, where it is no usual adult.
func (t teller) who() []Sentence {
	s, text, told := t.c.State, "", timeline.Kind("")
	switch {
	case s.OfNewborn():
		text, told = "A newborn", timeline.PatientNewborn
	case s.Patient == "infant":
		text, told = "An infant", timeline.PatientInfant
	case s.OfChild():
		text, told = "A child", timeline.PatientChild
	case s.PregnantAt != timeline.Never:
		return []Sentence{{{"A pregnant patient.", s.PregnantAt}}}
	default:
		return nil
	}
	if s.WeightKg > 0 {
		text += ", " + timeline.FormatNumber(s.WeightKg) + " kg"
	}
	return []Sentence{{{text + ".", t.since(told)}}}
}

// onset is how the arrest began, or that there was none.
func (t teller) onset() Sentence {
	s := t.c.State
	if len(t.c.Arrest) == 0 {
		return Sentence{{"A code without an arrest: the pulse was never lost.", s.Started}}
	}
	from := t.c.Arrest[0].From
	out := Sentence{{"Arrest " + (from - s.Started).Clock() + " after the case began", from}}
	if from == s.Started {
		out[0].Text = "Arrest from the start"
	}
	for _, b := range t.seen {
		switch {
		case !b.Pulse || b.To != from:
		case from == s.Started:
			out = Sentence{{"Arrest", from}, {" after " + b.words(), b.From}}
		default:
			out = append(out, Part{", after " + b.words(), b.From})
		}
	}
	if s.FirstCompression != timeline.Never {
		text := fmt.Sprintf(", compressions after %.0f s", max(0, s.FirstCompression-from).Seconds())
		if text == ", compressions after 0 s" {
			text = ", compressions at once"
		}
		out = append(out, Part{text, s.FirstCompression})
	} else {
		out = append(out, Part{", compressions never called", timeline.Never})
	}
	return append(out, Part{".", timeline.Never})
}

// course is what was seen and given, and how it ended.
func (t teller) course() Sentence {
	s := t.c.State
	var out Sentence
	add := func(text string, at timeline.Time) {
		if len(out) > 0 {
			text = ", " + text
		}
		out = append(out, Part{text, at})
	}
	if s.FirstRhythm != timeline.Unknown {
		add("first rhythm "+string(s.FirstRhythm), s.FirstRhythmAt)
	}
	if len(t.c.Arrest) == 0 {
		t.rhythms(add)
	}
	if s.ShocksBefore > 0 {
		add(count(s.ShocksBefore, "shock")+" before arrival", s.BeforeAt)
	}
	for i, name := range []string{"shock", "cardioversion"} {
		if shocks := of(s.Shocks, i == 1); len(shocks) > 0 {
			add(count(len(shocks), name)+since(len(shocks))+t.at(shocks[0].At), shocks[0].At)
		}
	}
	first := func(a, b string) int { // of two told at once, as what was given before arrival, by name
		return cmp.Or(cmp.Compare(s.Given[a][0].At, s.Given[b][0].At), cmp.Compare(a, b))
	}
	drugs := slices.SortedFunc(maps.Keys(s.Given), first)
	for i, d := range drugs {
		given := s.Given[d]
		if i == mostDrugs && len(drugs) > mostDrugs+1 {
			add(number(len(drugs)-i)+" other drugs from "+t.at(given[0].At), given[0].At)
			break
		}
		text, from := strings.ReplaceAll(d, "_", " ")+" "+times(len(given)), given[0].At
		switch n := timeline.DosesBefore(given); {
		case n == len(given):
			text, from = text+" before arrival", s.Started
		case n > 0:
			from = given[n].At
			text = fmt.Sprintf("%s (%s before arrival), here%s", text, times(n), since(len(given)-n)+t.at(from))
		default:
			text += since(len(given)) + t.at(from)
		}
		add(text, from)
	}
	t.outcome(add)
	if len(out) == 0 {
		return Sentence{{"Nothing else was called.", timeline.Never}}
	}
	out[0].Text = strings.ToUpper(out[0].Text[:1]) + out[0].Text[1:]
	return append(out, Part{".", timeline.Never})
}

// words are what was seen, as a part of a sentence: "unstable VT with a pulse".
func (b Seen) words() string {
	rhythm, pulse := strings.CutSuffix(b.What, ", pulse")
	switch {
	case rhythm == "pulse":
		rhythm = "a pulse"
	case pulse:
		rhythm += " with a pulse"
	}
	if b.Unstable && rhythm != "a pulse" {
		return "unstable " + rhythm
	}
	return rhythm
}

// rhythms adds what was seen in a case without an arrest: the first ones.
func (t teller) rhythms(add func(text string, at timeline.Time)) {
	unstable := false
	for i, b := range t.seen {
		if i == mostRhythms {
			add("other rhythms from "+t.at(b.From), b.From)
			return
		}
		b.Unstable, unstable = b.Unstable && !unstable, b.Unstable // told when it begins
		if b.What != "pulse" || len(t.seen) == 1 {
			add(b.words()+" from "+t.at(b.From), b.From)
		}
	}
}

// mostRhythms is how many rhythms the story of a case without an arrest names.
const mostRhythms = 4

// outcome adds how it ended.
func (t teller) outcome(add func(text string, at timeline.Time)) {
	s := t.c.State
	if at := t.since("intervention.ecmo"); at != timeline.Never {
		add("ECMO from "+t.at(at), at)
	}
	if s.FirstROSC != timeline.Never && s.FirstROSC != s.PulseAt && len(t.c.Arrest) > 0 {
		add("pulse back at "+t.at(s.FirstROSC)+" and lost again", s.FirstROSC)
	}
	switch {
	case s.Dead:
		add("death called at "+t.at(s.Ended), s.Ended)
	case s.PulsePresent && len(t.c.Arrest) > 0:
		add("pulse back at "+t.at(s.PulseAt), s.PulseAt)
	case s.Ended != timeline.Never:
		add("ended at "+t.at(s.Ended), s.Ended)
	case len(t.c.Arrest) > 0:
		add("still in arrest when the record ends at "+t.at(t.end), t.end)
	}
}

// mostDrugs is how many drugs the story names; the events have them all.
const mostDrugs = 4

// pauses is what took longest; nil if compressions were never called.
func (t teller) pauses() Sentence {
	if len(t.c.Hands) == 0 {
		return nil
	}
	if len(t.c.Pauses) == 0 {
		return Sentence{{"No pause in compressions was called.", timeline.Never}}
	}
	longest := slices.MaxFunc(t.c.Pauses, func(a, b figures.Stretch) int { return int(a.To-a.From) - int(b.To-b.From) })
	said := fmt.Sprintf("Longest pause %s at %s.", length(longest.To-longest.From), t.at(longest.From))
	return Sentence{{said, longest.From}}
}

// of leaves the shocks that were synchronised, or those that were not.
func of(shocks []timeline.Shock, synced bool) []timeline.Shock {
	return slices.DeleteFunc(slices.Clone(shocks), func(x timeline.Shock) bool { return x.Synced != synced })
}

func count(n int, what string) string {
	if n == 1 {
		return "one " + what
	}
	return number(n) + " " + what + "s"
}

// since leads to the moment of one thing, or of the first of many.
func since(n int) string {
	if n == 1 {
		return " at "
	}
	return " from "
}

func times(n int) string {
	if n <= 2 {
		return [...]string{"", "once", "twice"}[n]
	}
	return number(n) + " times"
}

// number is a count in words as far as words are short.
func number(n int) string {
	words := [...]string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"}
	if n < len(words) {
		return words[n]
	}
	return fmt.Sprint(n)
}

package decide

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"coxswain/intents"
)

// answer settles the open question, if x is an answer to it: a yes, a time, one of the two
// that were named, or what was asked about said again, for which less is enough. p is the
// probability of x, which what it cannot be told from; same: x is about the speech that was
// asked about.
func (v View) answer(x intents.Result, p float64, which string, same bool) (Decision, bool) {
	if x.Callout == "backdate" && v.Last.asked() && v.follows(x) {
		return v.dated(x, p >= settles), true
	}
	if !v.waits(x.Decided) || same || p < settles {
		return Decision{}, false
	}
	if x.Start >= v.Open.At && v.replies(x) {
		return v.replied(x), true
	}
	if v.answers(x) && (which == "" || which == Number && maps.Equal(x.Values, v.Open.About.Values)) {
		return settled(x, "it was said again"), true
	}
	return Decision{}, false
}

// replies reports whether a result is a word to the question, and no callout.
func (v View) replies(x intents.Result) bool {
	return settling(x) || x.Callout == "backdate" && v.Open.When && !v.follows(x)
}

// replied is what a yes, a no, a time, or a number said digit by digit makes of the open question.
func (v View) replied(x intents.Result) Decision {
	digits, number := digitsOf(x.Text)
	about := v.Open.About
	switch {
	case x.Callout == no:
		return Decision{Verdict: Accept, Result: x, Why: []string{"no was answered"}, Settled: true}
	case x.Callout == "backdate":
		about.When = timeOf(x)
		return settled(about, "its time was answered")
	case number && v.Open.Which == Number && ends(v.Open.Other.Values, digits):
		about.Text, about.Values = v.Open.Other.Text, v.Open.Other.Values
		return settled(about, "its number was answered")
	case number && v.Open.Which == Number && ends(about.Values, digits):
		return settled(about, "its number was answered")
	case number || v.Open.Which != "" || v.Open.When: // a yes is neither a time nor one of two
		return Decision{Result: x, Why: []string{"it does not answer what was asked"}}
	}
	return settled(about, "yes was answered")
}

// settled is what was asked about as it is called now, unless its time is still open.
func settled(x intents.Result, why string) Decision {
	d := Decision{Verdict: Accept, Result: x, Why: []string{why}, Settled: true}
	if vague(x) {
		d.Verdict, d.When, d.Name = Ask, true, true
	}
	return d
}

// digitsOf reads "one five" as 15 and "five zero" as 50.
func digitsOf(text string) (n int, ok bool) {
	for _, w := range strings.Fields(text) {
		k := slices.Index(digitWords, w)
		if k < 0 {
			return 0, false
		}
		n = 10*n + k
	}
	return n, text != ""
}

var digitWords = strings.Fields("zero one two three four five six seven eight nine")

// ends reports whether a number ends with two digits.
func ends(values map[string]float64, digits int) bool {
	for _, v := range values {
		if strings.HasSuffix(strconv.FormatFloat(v, 'f', -1, 64), strconv.Itoa(digits)) {
			return true
		}
	}
	return false
}

// unasked reports whether a phrase that is only an answer answers nothing.
func (v View) unasked(x intents.Result) bool {
	waits := v.waits(x.Decided) && x.Start >= v.Open.At
	if _, number := digitsOf(x.Text); x.Callout == yes && number {
		return !waits || v.Open.Which != Number
	}
	if v.Facts[x.Callout] || v.completes(x) { // a sentence of ours asks for it
		return false
	}
	return x.Answer && !settling(x) && x.Callout != "backdate" && !(waits && v.answers(x))
}

// The callouts that answer a question of any kind.
const yes, no = "confirm", "refuse"

// settling reports whether a result is a yes or a no.
func settling(x intents.Result) bool { return x.Callout == yes || x.Callout == no }

// lacksTime reports whether a time is asked for that a result does not tell.
func (v View) lacksTime(x intents.Result) bool { return v.asksWhen(x) && !v.tellsWhen(x) }

// asksWhen reports whether a question waits that only a time answers.
func (v View) asksWhen(x intents.Result) bool { return v.waits(x.Decided) && v.Open.When }

// dated is what a time makes of what was asked about right before it: it is its time, and settles
// what was asked about for its time alone.
func (v View) dated(x intents.Result, sure bool) Decision {
	if sure && v.tellsWhen(x) {
		return v.replied(x)
	}
	return Decision{Result: x, Why: []string{"the time of what was asked about"}, Dates: sure}
}

// tellsWhen reports whether a result is the time, in full, of a callout of which only the time was
// asked: "thirty seconds ago" was heard as "seconds ago" with it.
func (v View) tellsWhen(x intents.Result) bool {
	return x.Callout == "backdate" && v.Last.asked() && v.asksWhen(x) && v.follows(x) &&
		v.Open.Which == "" && v.Open.About.Confidence >= v.Open.About.Need
}

// follows reports whether a result comes right behind the speech that something was made of, whose
// last sound may hide its first word.
func (v View) follows(x intents.Result) bool {
	return v.Last != nil && x.Start >= v.Last.End-hides && x.Start <= v.Last.End+behind
}

// amount is the callout that gives the drug called last another amount, or its first.
const amount = "correct.drug.dose"

// completes reports whether a result is the amount of the drug that was called without one right before:
// "amiodarone given", a breath, "three hundred".
func (v View) completes(x intents.Result) bool {
	return x.Callout == amount && v.follows(x) && v.Last.Bare
}

// lacksAmount reports whether a drug was called without its amount.
func lacksAmount(x intents.Result) bool {
	return strings.HasPrefix(x.Callout, "drug.") && len(x.Values) == 0
}

// vague reports whether a time was told with a callout that cannot be put into its place: it
// did not happen now.
func vague(x intents.Result) bool {
	_, ok := intents.ReadWhen(x.When)
	return x.When != "" && !ok
}

// timeOf is the time that was told alone, behind what happened then.
func timeOf(x intents.Result) string { return strings.TrimPrefix(x.Text, "that was ") }

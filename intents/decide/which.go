package decide

import (
	"math"
	"strings"

	"coxswain/intents"
)

// Number is the Which of a Decision about a callout of which only the number is in doubt.
const Number = "number"

// oppositeLed is the log odds by which a callout must lead the one that means its opposite:
// hands that go on and hands that stop are no slip to put right later.
const oppositeLed = 2.5

// pair is two callouts of which each means the opposite of the other, though they sound alike.
type pair struct {
	Callouts []string `yaml:"callouts"`
	Ask      string   `yaml:"ask"` // the name of the question
	Why      string   `yaml:"why"`
}

// between weighs what a result may have been instead. p is its probability and need what its
// callout needs.
func (r *Rules) between(x intents.Result, p, need float64, f Facts) Decision {
	for _, y := range x.Rivals {
		if which := r.which(x, y, p, f); which != "" && !vague(x) {
			return Decision{Result: x, Name: true, Which: which, Other: y, sure: p, Why: []string{"two that sound alike"}}
		}
		if within(x, y) && y.Confidence >= askFrom {
			return Decision{Result: x, When: vague(x), sure: p, Why: []string{"a longer callout ends like it"}}
		}
	}
	var because []string
	y, q, lead := r.rival(x, p, f)
	if lead <= -clearLed && q >= need { // the case speaks for the other one
		_, because = r.Odds(y.Callout, f)
		x.Callout, x.Text, x.Values, x.Confidence = y.Callout, y.Text, y.Values, y.Confidence
		p, lead = q, -lead
	}
	return Decision{Result: x, Name: lead >= clearLed, When: vague(x), sure: p, Why: because}
}

// which is the question that tells a result from a rival of it that means another thing, if
// they are near each other; "": there is none. A recogniser that returns the same callout
// with another number could not tell the two.
func (r *Rules) which(x intents.Result, y intents.Rival, p float64, f Facts) string {
	if x.Callout == y.Callout {
		return Number
	}
	for _, o := range r.opposites {
		q, _ := r.weigh(y.Callout, y.Confidence, f)
		if o.are(x.Callout, y.Callout) && math.Abs(logit(p)-logit(q)) < oppositeLed {
			return o.Ask
		}
	}
	return ""
}

// within reports whether a rival is a longer callout that ends with the words of a result: of
// "supraventricular tachycardia" the end alone is another rhythm.
func within(x intents.Result, y intents.Rival) bool {
	return x.Callout != y.Callout && len(y.Text) > len(x.Text) && strings.HasSuffix(y.Text, x.Text)
}

// are reports whether these two are the pair.
func (o pair) are(a, b string) bool {
	return a == o.Callouts[0] && b == o.Callouts[1] || a == o.Callouts[1] && b == o.Callouts[0]
}

// rival is the likeliest other callout that the same sound may have been, its probability
// and the log odds by which x leads it. What the recogniser has weighed and found worse
// counts only if the case makes it likelier, or if both are drugs: what sounds alike may
// be the other, and the other may kill.
func (r *Rules) rival(x intents.Result, p float64, f Facts) (best intents.Rival, probability, lead float64) {
	lead = math.Inf(1)
	odds, _ := r.Odds(x.Callout, f)
	for _, y := range x.Rivals {
		theirs, _ := r.Odds(y.Callout, f)
		drugs := strings.HasPrefix(x.Callout, "drug.") && strings.HasPrefix(y.Callout, "drug.")
		q, _ := r.weigh(y.Callout, y.Confidence, f)
		if l := logit(p) - logit(q); y.Callout != x.Callout && (theirs > odds || drugs) && q >= askFrom && l < lead {
			best, probability, lead = y, q, l
		}
	}
	return best, probability, lead
}

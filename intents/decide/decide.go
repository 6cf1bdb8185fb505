package decide

import (
	"math"
	"slices"
	"strings"

	"coxswain/intents"
)

// Verdict is what becomes of a result.
type Verdict int

// Ignore it; Ask about it; Accept it as called.
const (
	Ignore Verdict = iota
	Ask
	Accept
)

// What is asked about, and how long an answer may take.
const (
	askFrom  = 0.3               // probability from which a callout is asked about
	settles  = 0.25              // and from which the same callout again settles it
	clearLed = 0.7               // log odds by which a callout must lead its likeness to be called by its name
	patience = 10 * intents.Rate // samples in which a question may be answered
	aMinute  = 60 * intents.Rate
	touch    = intents.Rate / 10 // samples by which two phrases may share their edge
	inMinute = 3                 // questions a minute at most
)

// View is what a listener knows besides the sound.
type View struct {
	Facts Facts   // of the case
	Asked []int64 // when questions were asked, in samples at intents.Rate
	// Open is the question that waits for an answer; nil: none does.
	Open *Question
	// Last is the speech about which something was last decided; nil: there was none.
	Last *Speech
}

// Speech is a stretch of sound of which something was made.
type Speech struct {
	Start, End int64 // in samples at intents.Rate
	Asked      bool  // it was asked about; else accepted
}

// Question is one that was asked.
type Question struct {
	At     int64          // when, in samples at intents.Rate
	About  intents.Result // what may have been said
	Rivals []string       // the other callouts that it may have been
}

// Decision is what becomes of a result.
type Decision struct {
	Verdict Verdict
	Result  intents.Result // what is accepted or asked about: after a "yes", what was asked about
	Name    bool           // ask about it by its name; else ask to say it again
	Why     []string       // what weighed besides the sound
	Settled bool           // the open question is answered
}

// Decide decides about one result. need is the confidence that its callout needs.
func (r *Rules) Decide(x intents.Result, need float64, v View) Decision {
	if !x.Open { // the recogniser decided
		return Decision{Verdict: Accept, Result: x, Settled: v.answers(x)}
	}
	v.Facts = v.withAsked(x)
	same := v.Last.holds(x)
	if why := v.nothing(x, same); why != "" {
		return Decision{Result: x, Why: []string{why}}
	}
	p, why := r.weigh(x.Callout, x.Confidence, v.Facts)
	if v.waits(x.Decided) && !same {
		if d, ok := v.answer(x, p); ok {
			return d
		}
	}
	y, q, lead := r.rival(x, p, v.Facts)
	if lead <= -clearLed && q >= need { // the case speaks for the other one
		_, because := r.Odds(y.Callout, v.Facts)
		x.Callout, x.Text, x.Values, x.Confidence = y.Callout, y.Text, y.Values, y.Confidence
		p, why, lead = q, append(why, because...), -lead
	}
	d := Decision{Result: x, Why: why, Name: lead >= clearLed}
	switch {
	case p >= max(need, x.Need) && d.Name:
		d.Verdict, d.Settled = Accept, same
	case same:
		d.Why = append(d.Why, "the same speech as what was asked about")
	case p >= askFrom && v.mayAsk(x.Decided) && v.Facts["running"]:
		d.Verdict = Ask
	}
	return d
}

// nothing says why nothing is to be made of a result, however clearly it was heard. same: it is about
// the speech of which something was made last.
func (v View) nothing(x intents.Result, same bool) string {
	switch {
	case x.Forbidden != "":
		return "a " + x.Forbidden + " in the same breath"
	case same && !v.Last.Asked:
		return "the same speech as what was accepted"
	case x.Callout == "confirm" && !v.Facts["asked"]:
		return "nothing was asked"
	}
	return ""
}

// weigh is the probability of a callout with the odds of the case.
func (r *Rules) weigh(callout string, confidence float64, f Facts) (float64, []string) {
	odds, why := r.Odds(callout, f)
	return 1 / (1 + math.Exp(-logit(confidence)-math.Log(odds))), why
}

func logit(p float64) float64 {
	p = min(0.999, max(0.001, p))
	return math.Log(p / (1 - p))
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

// holds reports whether a result is about the same speech: a longer or another phrase for
// it is no second callout, and nobody saying it again.
func (s *Speech) holds(x intents.Result) bool {
	return s != nil && x.Start < s.End-touch && s.Start < x.End-touch
}

// waits reports whether a question waits for its answer.
func (v View) waits(now int64) bool { return v.Open != nil && now-v.Open.At <= patience }

// answers reports whether a result answers the open question: by its name.
func (v View) answers(x intents.Result) bool {
	return v.Open != nil && (x.Callout == v.Open.About.Callout || slices.Contains(v.Open.Rivals, x.Callout))
}

// answer settles the open question, if x is an answer to it: a yes, or what was asked
// about said again, for which less is enough.
func (v View) answer(x intents.Result, p float64) (Decision, bool) {
	switch {
	case x.Callout == "confirm" && x.Start >= v.Open.At && p >= settles:
		return Decision{Verdict: Accept, Result: v.Open.About, Why: []string{"yes was answered"}, Settled: true}, true
	case v.answers(x) && p >= settles:
		return Decision{Verdict: Accept, Result: x, Why: []string{"it was said again"}, Settled: true}, true
	}
	return Decision{}, false
}

// mayAsk reports whether there is room for another question.
func (v View) mayAsk(now int64) bool {
	n := 0
	for _, at := range v.Asked {
		if now-at < aMinute {
			n++
		}
	}
	return n < inMinute
}

// withAsked are the facts with the one that the open question makes. What was said before
// the question was asked is no answer to it.
func (v View) withAsked(x intents.Result) Facts {
	f := Facts{}
	for k, x := range v.Facts {
		f[k] = x
	}
	f["asked"] = f["asked"] || v.waits(x.Decided) && x.Start >= v.Open.At
	return f
}

package decide

import (
	"maps"
	"math"
	"slices"

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
	surer    = 0.2               // by which the same speech must be surer than it needs, once it was asked about
	least    = 0.4               // confidence without which no case makes a callout sure
	settles  = 0.25              // and from which the same callout again settles it
	clearLed = 0.7               // log odds by which a callout must lead its likeness to be called by its name
	patience = 10 * intents.Rate // samples in which a question may be answered
	aMinute  = 60 * intents.Rate
	touch    = intents.Rate / 10    // samples by which two phrases may share their edge
	hides    = 3 * touch            // and by which a callout may hide the first word of its time
	inMinute = 3                    // questions a minute at most
	behind   = 3 * intents.Rate / 2 // samples within which a time follows what happened then
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
	Dated      bool  // a time was told with it
	Fixed      bool  // it is of a callout that no time moves: the code itself, who lies there
	Bare       bool  // a drug was called without its amount
}

// Question is one that was asked.
type Question struct {
	At     int64          // when, in samples at intents.Rate
	About  intents.Result // what may have been said
	Rivals []string       // the other callouts that it may have been
	Which  string         // which of two it was is asked: see Decision
	Other  intents.Rival  // the other of the two
	When   bool           // when it happened is asked, too
}

// Decision is what becomes of a result.
type Decision struct {
	Verdict Verdict
	Result  intents.Result // what is accepted or asked about: after a "yes", what was asked about
	Name    bool           // ask about it by its name; else ask to say it again
	When    bool           // ask when it happened: a time was told that says nothing
	Dates   bool           // it is the time of what is asked about
	Which   string         // ask which of two it was: what the rules call the pair, or Number
	Other   intents.Rival  // the other of the two
	Why     []string       // what weighed besides the sound
	Settled bool           // the open question is answered
	sure    float64        // how likely it is
}

// Decide decides about one result. need is the confidence that its callout needs.
func (r *Rules) Decide(x intents.Result, need float64, v View) Decision {
	if !x.Open && !vague(x) && !v.unasked(x) && !(settling(x) && v.waits(x.Decided)) { // the recogniser decided
		return Decision{Verdict: Accept, Result: x, Settled: v.answers(x)}
	}
	v.Facts = v.withAsked(x)
	same := v.Last.holds(x)
	unasked := v.unasked(x)
	if why := v.nothing(x, same, unasked && !r.wonders(x.Callout, v.Facts)); why != "" {
		return Decision{Result: x, Why: []string{why}}
	}
	p, why := r.weigh(x.Callout, x.Confidence, v.Facts)
	d := r.between(x, p, need, v.Facts)
	if a, ok := v.answer(x, p, d.Which, same); ok {
		return a
	}
	d.Why = append(why, d.Why...)
	if d.Verdict = d.verdict(max(need, x.Need), same); unasked && d.Verdict == Accept {
		d.Verdict = Ask
	}
	if d.Verdict == Ask && !v.mayBeAsked(d, need) {
		d.Verdict = Ignore
	}
	d.Settled = d.Verdict == Accept && same
	return d
}

// verdict is what becomes of a callout that needs so much; same: it is about the speech that
// was asked about.
func (d *Decision) verdict(need float64, same bool) Verdict {
	switch {
	case same && d.sure < need+surer:
		d.Why = append(d.Why, "the same speech as what was asked about")
		return Ignore
	case d.sure >= need && d.Result.Confidence >= least && d.Name && !d.When && d.Which == "":
		return Accept
	case same:
		d.Why = append(d.Why, "the same speech as what was asked about")
		return Ignore
	}
	return Ask
}

// mayBeAsked reports whether a callout is near enough to be asked about, and there is room for
// a question. What is sure but for its time is asked about even before a case runs.
func (v View) mayBeAsked(d Decision, need float64) bool {
	if d.Result.Answer && min(d.sure, d.Result.Confidence) < need {
		return false // "shocked" may be the beginning of "shock delivered", however likely a shock is
	}
	if d.When && d.sure >= need {
		return true
	}
	known := v.Facts["running"] || v.Facts["pulse"] // somebody lies there
	return d.sure >= askFrom && known && v.mayAsk(d.Result.Decided)
}

// nothing says why nothing is to be made of a result, however clearly it was heard. same: it is about
// the speech of which something was made last; idle: it is an answer to nothing.
func (v View) nothing(x intents.Result, same, idle bool) string {
	switch {
	case x.Forbidden != "":
		return "a " + x.Forbidden + " in the same breath"
	case same && !v.Last.Asked:
		return "the same speech as what was accepted"
	case settling(x) && !v.Facts["asked"], idle:
		return "nothing was asked"
	case x.Callout == "backdate" && x.Answer && !v.asksWhen(x) && (!v.follows(x) || v.Last.Dated || v.Last.Fixed):
		return "no callout stands before it"
	case same && v.lacksTime(x):
		return "the same speech, without its time"
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

// holds reports whether a result is about the same speech: a longer or another phrase for
// it is no second callout, and nobody saying it again.
func (s *Speech) holds(x intents.Result) bool {
	return s != nil && x.Start < s.End-touch && s.Start < x.End-touch
}

// asked reports whether something was asked about it.
func (s *Speech) asked() bool { return s != nil && s.Asked }

// waits reports whether a question waits for its answer.
func (v View) waits(now int64) bool { return v.Open != nil && now-v.Open.At <= patience }

// answers reports whether a result answers the open question: by its name.
func (v View) answers(x intents.Result) bool {
	return v.Open != nil && (x.Callout == v.Open.About.Callout || slices.Contains(v.Open.Rivals, x.Callout))
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
	f := maps.Clone(v.Facts)
	if f == nil {
		f = Facts{}
	}
	f["asked"] = f["asked"] || v.waits(x.Decided) && x.Start >= v.Open.At
	return f
}

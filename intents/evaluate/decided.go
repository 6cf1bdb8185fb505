package evaluate

import (
	"coxswain/intents"
	"coxswain/intents/decide"
)

// Facts are what is known of a case from what has been called so far, at a sample of
// intents.Rate.
type Facts func(called []intents.Result, now int64) decide.Facts

// Decided is an opener whose ears decide as a session does: by the case so far, with its
// questions. What it asks about is left open, what it calls is not. The ears of open must
// leave their results open.
func Decided(open Opener, v *intents.Vocabulary, rules *decide.Rules, facts Facts) Opener {
	return func() (intents.Ear, error) {
		ear, err := open()
		return &decided{ear: ear, v: v, rules: rules, facts: facts}, err
	}
}

type decided struct {
	ear    intents.Ear
	v      *intents.Vocabulary
	rules  *decide.Rules
	facts  Facts
	memory decide.Memory
	called []intents.Result
}

// Hear implements intents.Ear.
func (d *decided) Hear(pcm []int16) ([]intents.Result, []string) {
	results, faults := d.ear.Hear(pcm)
	return d.decide(results), faults
}

// Close implements intents.Ear.
func (d *decided) Close() []intents.Result { return d.decide(d.ear.Close()) }

func (d *decided) decide(results []intents.Result) (out []intents.Result) {
	for _, x := range results {
		c := d.v.Find(x.Callout)
		if c == nil {
			continue
		}
		y := d.memory.Hear(d.rules, x, c.Need(), d.facts(d.called, x.Decided))
		y.Result.Open = y.Verdict == decide.Ask
		switch y.Verdict {
		case decide.Accept:
			d.called = append(d.called, y.Result)
			out = append(out, y.Result)
		case decide.Ask:
			out = append(out, y.Result)
		}
	}
	return out
}

// Package rehearse tells a leader, before it counts, which callouts are heard in their own
// voice, room and microphone: they read a list of phrases from the card, and each comes back
// as heard, weak (it would be asked about), taken for another, or lost, with what to do.
//
// It decides as a session does (intents/decide), so that what is heard here is heard there.
// The report is a function of the results and levels that it is given. Of the voice nothing is
// kept, or a profile where that is asked for: see acoustic.LearnVoice.
package rehearse

import (
	"strings"

	"coxswain/intents"
	"coxswain/intents/decide"
)

// Line is one phrase to read.
type Line struct {
	Callout string `json:"callout"`
	Text    string `json:"text"`
}

// read are the callouts of a rehearsal: one of each family that a case turns on.
var read = strings.Fields("code.start compressions.start compressions.stop rhythm.check rhythm.vf rhythm.vt " +
	"rhythm.pea rhythm.asystole shock.charging shock.clear shock.given pulse.absent pulse.present rosc " +
	"drug.epinephrine drug.amiodarone airway.secured access.iv compressor.change undo")

// Lines are the phrases to read: the first of each callout that says no number. A vocabulary
// that stands alone is read from its beginning.
func Lines(v *intents.Vocabulary) (out []Line) {
	ids := read
	if v.Alone {
		ids = nil
		for _, c := range v.Callouts[:min(len(read), len(v.Callouts))] {
			ids = append(ids, c.ID)
		}
	}
	for _, id := range ids {
		if c := v.Find(id); c != nil {
			if p := plain(c); len(p) > 0 {
				out = append(out, Line{id, p[0]})
			}
		}
	}
	return out
}

// plain are the phrases of a callout without a number.
func plain(c *intents.Callout) (out []string) {
	for _, p := range c.Phrases {
		if !strings.Contains(p, "{") {
			out = append(out, p)
		}
	}
	return out
}

// What became of a line.
const (
	Heard = "heard" // it would have been logged
	Weak  = "weak"  // it would have been asked about
	Other = "other" // another callout was heard instead
	Lost  = "lost"
)

// Reading is a line as it was read.
type Reading struct {
	Line
	Verdict    string  `json:"verdict"`
	Heard      string  `json:"heard,omitempty"` // the words that were understood
	Confidence float64 `json:"confidence"`
	Instead    string  `json:"instead,omitempty"` // another phrase of the card for the same callout
}

// Report is what a rehearsal found.
type Report struct {
	Readings []Reading `json:"readings"`
	Levels
	Advice []string `json:"advice"`
	Kept   string   `json:"kept"` // what was kept of the voice
}

// Count is how many lines have a verdict.
func (r Report) Count(verdict string) (n int) {
	for _, x := range r.Readings {
		if x.Verdict == verdict {
			n++
		}
	}
	return n
}

// Judge holds what was heard (open results, in their order) against the lines, which were
// read in their order; a line may have been left out.
func Judge(v *intents.Vocabulary, rules *decide.Rules, lines []Line, results []intents.Result, at Levels) Report {
	r := Report{Levels: at, Kept: "nothing: no sound, and no profile of the voice"}
	matched := match(lines, results)
	next := 0 // the first result behind the last line that was found
	for i, l := range lines {
		x := Reading{Line: l, Verdict: Lost}
		if k := matched[i]; k >= 0 {
			x.take(rules, v, results[k])
			next = k + 1
		} else if k := taken(results, next, following(matched, i, len(results)), rules, v); k >= 0 {
			x.Verdict, x.Heard, x.Confidence = Other, results[k].Text, results[k].Confidence
			next = k + 1
		}
		if x.Verdict != Heard {
			x.Instead = instead(v, l)
		}
		r.Readings = append(r.Readings, x)
	}
	r.Advice = r.advise()
	return r
}

// Understood are the results that are lines as they were read, in their order: what a voice can
// be learned from.
func Understood(lines []Line, results []intents.Result) (out []intents.Result) {
	for _, k := range match(lines, results) {
		if k >= 0 {
			out = append(out, results[k])
		}
	}
	return out
}

// take judges a line by the result that is its callout.
func (x *Reading) take(rules *decide.Rules, v *intents.Vocabulary, res intents.Result) {
	x.Heard, x.Confidence = res.Text, res.Confidence
	switch d := verdict(rules, v, res); {
	case d.Verdict == decide.Accept && d.Result.Callout == res.Callout:
		x.Verdict = Heard
	case d.Verdict == decide.Accept:
		x.Verdict, x.Heard = Other, d.Result.Text
	case d.Verdict == decide.Ask:
		x.Verdict = Weak
	}
}

// verdict decides as in a case of which nothing is known.
func verdict(rules *decide.Rules, v *intents.Vocabulary, res intents.Result) decide.Decision {
	need := 1.0
	if c := v.Find(res.Callout); c != nil {
		need = c.Need()
	}
	return rules.Decide(res, need, decide.View{Facts: decide.Facts{"running": true}})
}

// following is the result of the next line that was found behind line i; n if none was.
func following(matched []int, i, n int) int {
	for _, k := range matched[i+1:] {
		if k >= 0 {
			return k
		}
	}
	return n
}

// taken is a result of results [from, to) that would have been logged; -1: none.
func taken(results []intents.Result, from, to int, rules *decide.Rules, v *intents.Vocabulary) int {
	for k := from; k < to; k++ {
		if verdict(rules, v, results[k]).Verdict == decide.Accept {
			return k
		}
	}
	return -1
}

// match gives each line its result, or -1: the assignment in order with the most, and the
// surest, results of the right callout (longest common subsequence, weighted).
func match(lines []Line, results []intents.Result) []int {
	best := make([][]float64, len(lines)+1)
	for i := range best {
		best[i] = make([]float64, len(results)+1)
	}
	gain := func(i, k int) float64 {
		if lines[i].Callout != results[k].Callout || results[k].Forbidden != "" {
			return 0
		}
		return 1 + results[k].Confidence
	}
	for i := len(lines) - 1; i >= 0; i-- {
		for k := len(results) - 1; k >= 0; k-- {
			best[i][k] = max(best[i+1][k], best[i][k+1])
			if g := gain(i, k); g > 0 {
				best[i][k] = max(best[i][k], g+best[i+1][k+1])
			}
		}
	}
	out := make([]int, len(lines))
	k := 0
	for i := range lines {
		out[i] = -1
		for k < len(results) && best[i][k] == best[i][k+1] {
			k++
		}
		if k < len(results) && best[i][k] > best[i+1][k] {
			out[i], k = k, k+1
		}
	}
	return out
}

// instead is another phrase for the same callout: the longest of at most five words, since
// more sounds are heard more surely.
func instead(v *intents.Vocabulary, l Line) (best string) {
	c := v.Find(l.Callout)
	if c == nil {
		return ""
	}
	for _, p := range plain(c) {
		if p != l.Text && len(strings.Fields(p)) <= 5 && len(p) > len(best) {
			best = p
		}
	}
	return best
}

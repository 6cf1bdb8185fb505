package intents

import (
	"slices"
	"strings"
)

// verb is what a phrase begins with, as it is ordered, reported and being done.
type verb struct{ order, past, doing string }

// verbs are those of the callouts that begin with one.
var verbs = []verb{
	{"start", "started", "starting"}, {"restart", "restarted", "restarting"}, {"resume", "resumed", "resuming"},
	{"continue", "continued", "continuing"}, {"stop", "stopped", "stopping"}, {"hold", "held", "holding"},
	{"pause", "paused", "pausing"}, {"charge", "charged", "charging"},
	{"give", "gave", "giving"}, {"shock", "shocked", "shocking"},
}

// ordered are the verbs whose order means that it is done, and is a callout itself.
var ordered = strings.Fields("started resumed continued stopped held paused restarted")

// dangerous are the callouts, by how their ids begin, whose inflections are talk: what
// is logged wrongly of them is acted on.
var dangerous = []string{"compressions.", "shock.", "drug."}

// told are openings of callouts, and what they become when the same is asked, denied, or told
// of another time.
var told = [][2]string{
	{"we have ", "he had "}, {"she is ", "is she "}, {"this is ", "is this "}, {"it is ", "is it "},
	{"we are ", "are we "}, {"there is ", "is there "}, {"this is ", "this isn't "}, {"it is ", "it isn't "},
	{"it's ", "is it "}, {"we delivered ", "who delivered "}, {"that's ", "is that "}, {"that is ", "is that "},
	{"we have ", "we had "}, {"i have ", "i had "}, {"we have ", "we might have "}, {"i have ", "i might have "},
	{"we have ", "we need "}, {"she is ", "she is not "}, {"patient is ", "patient is not "},
}

// inflections are sentences that have the sound of a callout in another form of its words
// and report nothing: "who started compressions",
// "charge to two hundred". The words around a callout do not tell them: the form that
// differs lies in the callout's own words. They compete as talk.
func (v *Vocabulary) inflections() (out []Phrase) {
	if len(v.Around.Forbid) == 0 {
		return nil
	}
	seen := map[string]bool{}
	for i := range v.Callouts {
		c := &v.Callouts[i]
		acted := slices.ContainsFunc(dangerous, func(x string) bool { return strings.HasPrefix(c.ID, x) })
		for _, p := range c.Phrases {
			for _, s := range inflect(strings.Fields(p), acted) {
				parts, err := v.parts(s)
				if err == nil && !seen[s] && !slices.Contains(c.Phrases, s) {
					out = append(out, Phrase{Callout: &talk, Text: s, Parts: parts, Inflects: c})
				}
				seen[s] = true
			}
		}
	}
	return out
}

// inflect lists what one phrase becomes; acted: its callout is acted on.
func inflect(words []string, acted bool) (out []string) {
	for _, t := range told {
		if rest, ok := strings.CutPrefix(strings.Join(words, " "), t[0]); ok {
			out = append(out, t[1]+rest)
		}
	}
	rest := strings.Join(words[1:], " ")
	if drug, ok := strings.CutSuffix(strings.Join(words, " "), " is in"); ok && acted {
		out = append(out, drug+" is due")
	}
	for _, w := range verbs {
		switch {
		case rest == "" || !acted:
		case words[0] == w.order:
			out = append(out, "who "+w.past+" "+rest, "they "+w.past+" "+rest, "who is "+w.doing+" "+rest)
		case words[0] == w.past && !slices.Contains(ordered, w.past), words[0] == w.doing:
			out = append(out, w.order+" "+rest)
		}
	}
	return out
}

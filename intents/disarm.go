package intents

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// disarms finds what of an overlay o, laid over base to v, would take away what keeps a word from
// being logged: an answer or a courtesy as a callout, words that forbid as courtesies, words of
// callouts as ones that forbid, or as what coxswain is called by.
func (v *Vocabulary) disarms(name string, base, o *Vocabulary) error {
	for _, c := range o.Callouts {
		for _, p := range c.Phrases {
			if why := v.said(base, c.ID, p); why != "" {
				return fmt.Errorf("%s:%d: callout %s: %q %s: say it another way", name, c.Line, c.ID, p, why)
			}
		}
	}
	if err := v.disarmsByLead(name, o); err != nil {
		return err
	}
	return v.disarmsAround(name, base, o)
}

// disarmsByLead refuses a lead word that is said in callouts, or has a word that begins one.
func (v *Vocabulary) disarmsByLead(name string, o *Vocabulary) error {
	for _, w := range append(strings.Fields(o.LeadWord), o.LeadWord) {
		if id := v.begins(w); w != "" && (id != "" || w == o.LeadWord && v.inPhrase(w) != "") {
			return fmt.Errorf("%s:%d: lead_word: %q is said in %s: choose a word that is in no callout", name, o.leadLine, w,
				cmp.Or(id, v.inPhrase(w)))
		}
	}
	return nil
}

// disarmsAround looks at the words around callouts that an overlay adds.
func (v *Vocabulary) disarmsAround(name string, base, o *Vocabulary) error {
	forbids := base.Around.forbids()
	wrong := func(list, word, why string) error {
		return fmt.Errorf("%s:%d: around: %s: %q %s", name, o.Around.line(list, word), list, word, why)
	}
	for _, w := range o.Around.all() {
		switch w.list {
		case "beside", Told:
			if forbids[w.word] {
				return wrong(w.list, w.word, "forbids a callout: it cannot mean nothing")
			}
		default:
			if id := v.inPhrase(w.word); id != "" && !forbids[w.word] {
				return wrong(w.list, w.word, "is said in "+id+": no callout beside it would be taken")
			}
		}
	}
	for _, w := range o.Around.parts() {
		switch id := v.begins(w[1]); {
		case w[0] != "auxiliaries" && forbids[w[1]]:
			return wrong(w[0], w[1], "forbids a callout: it cannot mean nothing")
		case w[0] == "openers" && id != "":
			return wrong(w[0], w[1], "begins "+id+": a \"no\" before it would be lost")
		}
	}
	return nil
}

// said is what a phrase of a callout is already, beside other callouts: an answer to a question of
// ours, a courtesy, or a word that forbids; empty if it is none.
func (v *Vocabulary) said(base *Vocabulary, id, phrase string) string {
	for _, all := range []*Vocabulary{base, v} {
		for _, c := range all.Callouts {
			if c.ID != id && slices.Contains(c.Answers, phrase) {
				return "answers a question"
			}
		}
		if slices.Contains(all.Around.Beside, phrase) || all.Around.forbids()[phrase] {
			return "stands around callouts"
		}
	}
	return ""
}

// forbids are the words that forbid a callout, or have it asked about.
func (a Around) forbids() map[string]bool {
	out := map[string]bool{}
	for _, w := range a.all() {
		if w.list != "beside" && w.list != Told {
			out[w.word] = true
		}
	}
	return out
}

// inPhrase is a callout that has these words, one behind the other, in a phrase; empty if none has.
func (v *Vocabulary) inPhrase(words string) string {
	for _, c := range v.Callouts {
		for _, p := range c.Phrases {
			if strings.Contains(" "+p+" ", " "+words+" ") {
				return c.ID
			}
		}
	}
	return ""
}

// begins is a callout whose inflections are talk, or of a pulse or rhythm, that begins with a word.
func (v *Vocabulary) begins(word string) string {
	for _, c := range v.Callouts {
		acted := func(head string) bool { return strings.HasPrefix(c.ID, head) }
		if !slices.ContainsFunc(dangerous, acted) && !acted("pulse.") && !acted("rhythm.") {
			continue
		}
		for _, p := range c.Phrases {
			if first, _, _ := strings.Cut(p, " "); first == word {
				return c.ID
			}
		}
	}
	return ""
}

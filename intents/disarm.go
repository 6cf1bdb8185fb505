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
		if v.Alone && base.find(c.ID) == nil { // nothing of ours is heard beside it
			continue
		}
		if why := v.disarmsBy(base, c); why != "" {
			return fmt.Errorf("%s:%d: callout %s: %s", name, c.Line, c.ID, why)
		}
	}
	for _, find := range []func(string, *Vocabulary) error{base.nearer, v.disarmsByLead} {
		if err := find(name, o); err != nil {
			return err
		}
	}
	if err := v.widens(name, base, o); err != nil {
		return err
	}
	if err := base.soundsLike(name, o); err != nil && !v.Alone {
		return err
	}
	return v.disarmsAround(name, base, o)
}

// disarmsBy is what is wrong with a callout of an overlay; empty if nothing is.
func (v *Vocabulary) disarmsBy(base *Vocabulary, c Callout) string {
	b := base.find(c.ID)
	for _, p := range c.Phrases {
		if b != nil && slices.Contains(b.Phrases, p) {
			continue
		}
		if why := cmp.Or(v.said(base, c.ID, p), base.denies(c.ID, p), base.near(c.ID, p)); why != "" {
			return fmt.Sprintf("%q %s: say it another way", p, why)
		}
	}
	if b == nil {
		return ""
	}
	for _, a := range c.Answers {
		if !slices.Contains(b.Answers, a) {
			return fmt.Sprintf("%q: what answers a question of ours is built in", a)
		}
	}
	if c.Confidence == 0 || v.Alone {
		return ""
	}
	if least := surest(*b); c.Confidence != b.Confidence && (c.Confidence < least || c.Confidence > mostSure) {
		return fmt.Sprintf("confidence is %v, want %v to %v: it would be logged unheard, or never",
			c.Confidence, least, mostSure)
	}
	return ""
}

// disarmsByLead refuses a lead word that is said in callouts, or has a word that begins one.
func (v *Vocabulary) disarmsByLead(name string, o *Vocabulary) error {
	for _, w := range append(strings.Fields(o.LeadWord), o.LeadWord) {
		if id := v.begins(w); w != "" && (id != "" || w == o.LeadWord && v.elsewhere("", w) != "") {
			return fmt.Errorf("%s:%d: lead_word: %q is said in %s: choose a word that is in no callout", name, o.leadLine, w,
				cmp.Or(id, v.elsewhere("", w)))
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
	known := base.Around.all()
	for _, w := range o.Around.all() {
		if slices.Contains(known, w) {
			continue
		}
		if why := v.disarmsBeside(base, w); why != "" {
			return wrong(w.list, w.word, why)
		}
	}
	for _, w := range o.Around.parts() {
		switch id := v.begins(w[1]); {
		case slices.Contains(base.Around.parts(), w):
		case w[0] != "auxiliaries" && forbids[w[1]]:
			return wrong(w[0], w[1], "forbids a callout: it cannot mean nothing")
		case w[0] == "openers" && id != "":
			return wrong(w[0], w[1], "begins "+id+": a \"no\" before it would be lost")
		}
	}
	return nil
}

// disarmsBeside is what is wrong with a word around callouts that an overlay adds; empty if nothing is.
func (v *Vocabulary) disarmsBeside(base *Vocabulary, w listed) string {
	id := v.elsewhere("", w.word)
	switch {
	case w.list == "beside" || w.list == Told:
		if base.Around.forbids()[w.word] || base.denying(w.word) != "" {
			return "forbids a callout: it cannot mean nothing"
		}
		if id != "" {
			return "is said in " + id + ": it cannot mean nothing, nor a time"
		}
	case id != "" && !base.Around.forbids()[w.word]:
		return "is said in " + id + ": no callout beside it would be taken"
	}
	return ""
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
	if base.find(id) != nil && base.idle(id, strings.Fields(phrase)) {
		return "is nothing but answers and courtesies"
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

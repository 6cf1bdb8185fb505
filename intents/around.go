package intents

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Around is what may be said in one breath with a callout. A recogniser lets these
// words compete beside the phrases, so that "please resume compressions now" is heard
// and "do not resume compressions" is not logged as done.
type Around struct {
	// Beside mean nothing: courtesies, openers, articles. A callout beside one stands
	// as clear as beside silence.
	Beside []string `yaml:"beside" json:"beside,omitempty"`
	// Forbid a callout anywhere in the same breath, by the reason (negation, question,
	// condition, order, elsewhere; Unsure has it asked about instead): the reason is told when a callout is thrown away.
	Forbid map[string][]string `yaml:"forbid" json:"forbid,omitempty"`
	// Behind forbid a callout right behind which they stand, by the same reasons: "the tube is in the
	// way", "a pulse with compressions". Elsewhere in the breath they mean nothing.
	Behind map[string][]string `yaml:"behind" json:"behind,omitempty"`
	// Within are those of Forbid that may also stand between the words of a phrase:
	// "epinephrine has not been given".
	Within []string `yaml:"within" json:"within,omitempty"`
	// When are times that may be told behind a callout: "{minutes} minutes ago". What is
	// told so did not happen now: see Result.When.
	When []string `yaml:"when" json:"when,omitempty"`
	// Openers begin a sentence of their own: a "no" before a phrase that begins with one is an
	// exclamation or an answer, and denies nothing.
	Openers []string `yaml:"openers" json:"openers,omitempty"`
	// Verbs are first words of phrases: a "no" right before one may be what is left of a "don't",
	// and "they" stands before verbs alone.
	Verbs []string `yaml:"verbs" json:"verbs,omitempty"`
	// Stopping are first words of orders that must not be taken from "don't stop".
	Stopping []string `yaml:"stopping" json:"stopping,omitempty"`
	// Onward are last words of phrases that a sentence goes on from: "epi is in the cart".
	Onward []string `yaml:"onward" json:"onward,omitempty"`
	// Opens are last words of Beside that mean nothing before a callout, and behind one that its
	// sentence goes on: articles, "and".
	Opens []string `yaml:"opens" json:"opens,omitempty"`
	// Repairs are words of Beside or Unsure that take back what was said before them: of two callouts of
	// which only one can be true, the one behind such a word was meant.
	Repairs []string `yaml:"repairs" json:"repairs,omitempty"`
	// Auxiliaries are words that a "not" within a phrase follows, and the only ones that an "n't" does.
	Auxiliaries []string `yaml:"auxiliaries" json:"auxiliaries,omitempty"`
	// Forms are verbs that phrases begin with, in the forms that report nothing, and Openings what the
	// beginning of a phrase becomes in a sentence that does not: such sentences are talk.
	Forms    []Form    `yaml:"forms" json:"forms,omitempty"`
	Openings []Opening `yaml:"openings" json:"openings,omitempty"`
	// Slips are little words that are heard for others, which mean something else: "we had a pulse".
	Slips []Slip `yaml:"slips" json:"slips,omitempty"`

	lines map[string]int // of a word, by its list and itself, in the file that it was read from
}

// UnmarshalYAML keeps the lines for errors.
func (a *Around) UnmarshalYAML(n *yaml.Node) error {
	type plain Around
	known := strings.Fields("beside forbid behind within when openers verbs stopping onward opens repairs " +
		"auxiliaries forms openings slips")
	if err := OnlyKeys(n, "around callouts: known are "+strings.Join(known, ", "), known...); err != nil {
		return err
	}
	if err := n.Decode((*plain)(a)); err != nil {
		return err
	}
	a.lines = map[string]int{"": n.Line}
	a.keep(n, "")
	return nil
}

// keep notes the lines of the words under a list.
func (a *Around) keep(n *yaml.Node, list string) {
	for i, k := range n.Content {
		switch {
		case n.Kind == yaml.MappingNode && i%2 == 1:
			a.keep(k, n.Content[i-1].Value)
		case n.Kind == yaml.SequenceNode:
			a.lines[list+" "+clean(k.Value)] = k.Line
		}
	}
}

// line is where a word stands in its file, or where the words around callouts begin.
func (a Around) line(list, word string) int {
	if n := a.lines[list+" "+word]; n > 0 {
		return n
	}
	return a.lines[""]
}

// parts are the words that phrases begin or end with, each with the list that it is in.
func (a Around) parts() (out [][2]string) {
	for _, l := range []struct {
		name  string
		words []string
	}{{"openers", a.Openers}, {"verbs", a.Verbs}, {"stopping", a.Stopping}, {"onward", a.Onward}, {"opens", a.Opens},
		{"repairs", a.Repairs}, {"auxiliaries", a.Auxiliaries}} {
		for _, w := range l.words {
			out = append(out, [2]string{l.name, w})
		}
	}
	return out
}

// Reasons of words around a callout (see Surround) that do not forbid it: a time, and what
// makes it something to be asked about ("i think", "maybe", "no sorry").
const (
	Told   = "when"
	Unsure = "unsure"
)

// clean writes the words as phrases are written.
func (a *Around) clean() {
	tidy := func(list []string) {
		for i := range list {
			list[i] = clean(list[i])
		}
	}
	tidy(a.Beside)
	tidy(a.Within)
	tidy(a.When)
	for _, list := range [][]string{a.Openers, a.Verbs, a.Stopping, a.Onward, a.Opens, a.Repairs, a.Auxiliaries} {
		tidy(list)
	}
	for _, reasons := range []map[string][]string{a.Forbid, a.Behind} {
		for _, list := range reasons {
			tidy(list)
		}
	}
}

// listed is a word around a callout, the list that it stands in, and whether it counts right
// behind a callout alone.
type listed struct {
	list, word string
	behind     bool
}

// all lists the words with the key that they stand under, in a fixed order.
func (a Around) all() (out []listed) {
	add := func(list string, words []string, behind bool) {
		for _, w := range words {
			out = append(out, listed{list, w, behind})
		}
	}
	add("beside", a.Beside, false)
	add("within", a.Within, false)
	add(Told, a.When, false)
	for _, reason := range slices.Sorted(maps.Keys(a.Forbid)) {
		add(reason, a.Forbid[reason], false)
	}
	for _, reason := range slices.Sorted(maps.Keys(a.Behind)) {
		add(reason, a.Behind[reason], true)
	}
	return out
}

// size counts all that is listed.
func (a Around) size() int {
	return len(a.all()) + len(a.parts()) + len(a.Slips) + len(a.Forms) + len(a.Openings)
}

// with is both: a site adds to the words, it takes none away.
func (a Around) with(b Around) Around {
	return Around{
		Beside: slices.Concat(a.Beside, b.Beside),
		Within: slices.Concat(a.Within, b.Within),
		When:   slices.Concat(a.When, b.When),
		Forbid: both(a.Forbid, b.Forbid),
		Behind: both(a.Behind, b.Behind),

		Openers:  slices.Concat(a.Openers, b.Openers),
		Verbs:    slices.Concat(a.Verbs, b.Verbs),
		Stopping: slices.Concat(a.Stopping, b.Stopping),
		Onward:   slices.Concat(a.Onward, b.Onward),
		Opens:    slices.Concat(a.Opens, b.Opens),
		Repairs:  slices.Concat(a.Repairs, b.Repairs),
		Slips:    slices.Concat(a.Slips, b.Slips),

		Auxiliaries: slices.Concat(a.Auxiliaries, b.Auxiliaries),
		Forms:       slices.Concat(a.Forms, b.Forms),
		Openings:    slices.Concat(a.Openings, b.Openings),
	}
}

// both are the words of each reason in a and b.
func both(a, b map[string][]string) map[string][]string {
	out := map[string][]string{}
	for _, src := range []map[string][]string{a, b} {
		for reason, list := range src {
			out[reason] = slices.Concat(out[reason], list)
		}
	}
	return out
}

// checkAround finds what is too much of, or cannot be said.
func (v *Vocabulary) checkAround(name string) error {
	v.Around.clean()
	all := v.Around.all()
	if len(all) > 600 {
		return fmt.Errorf("%s:%d: around: more than 600 words", name, v.Around.line("", ""))
	}
	for _, w := range all {
		number := strings.Contains(w.word, "{") && w.list != Told
		if err := checkPhrase(w.word); err != nil || number {
			return fmt.Errorf("%s:%d: around: %s: %q: want 1 to 20 words in letters",
				name, v.Around.line(w.list, w.word), w.list, w.word)
		}
	}
	if err := v.Around.checkSlips(name); err != nil {
		return err
	}
	if err := v.Around.checkForms(name); err != nil {
		return err
	}
	for _, w := range v.Around.parts() {
		if several := w[0] == "repairs" && plainWords(w[1]); !several && !wordForm.MatchString(w[1]) {
			return fmt.Errorf("%s:%d: around: %s: %q: want one word in letters", name, v.Around.line(w[0], w[1]), w[0], w[1])
		}
	}
	return nil
}

// sayable finds a word around the callouts of a file that has no pronunciation.
func (v *Vocabulary) sayable(name string, a Around) error {
	for _, w := range a.all() {
		if _, err := v.parts(w.word); err != nil {
			return fmt.Errorf("%s:%d: around: %s: %w", name, a.line(w.list, w.word), w.list, err)
		}
	}
	for _, s := range a.Slips {
		if _, err := v.parts(s.Heard + " " + s.Meant); err != nil {
			return fmt.Errorf("%s:%d: around: slips: %w", name, s.line, err)
		}
	}
	return v.sayableForms(name, a)
}

// Surrounding is words that may stand around a callout.
type Surrounding struct {
	Phrase
	Reason string // "": they mean nothing; Told: a time; else why they forbid
	Behind bool   // right behind it alone
}

// Surround returns the words around a callout as phrases.
func (v *Vocabulary) Surround() (out []Surrounding, err error) {
	for _, w := range v.Around.all() {
		if w.list == "within" {
			continue
		}
		parts, err := v.parts(w.word)
		if err != nil {
			return nil, fmt.Errorf("around: %s: %w", w.list, err)
		}
		if w.list == "beside" {
			w.list = ""
		}
		out = append(out, Surrounding{Phrase{Callout: &talk, Text: w.word, Parts: parts}, w.list, w.behind})
	}
	return out, nil
}

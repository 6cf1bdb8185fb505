package intents

import (
	"fmt"
	"maps"
	"slices"
	"strings"
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
	// Within are those of Forbid that may also stand between the words of a phrase:
	// "epinephrine has not been given".
	Within []string `yaml:"within" json:"within,omitempty"`
	// When are times that may be told behind a callout: "{minutes} minutes ago". What is
	// told so did not happen now: see Result.When.
	When []string `yaml:"when" json:"when,omitempty"`
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
	for _, list := range a.Forbid {
		tidy(list)
	}
}

// all lists the words with the key that they stand under, in a fixed order.
func (a Around) all() (out [][2]string) {
	for _, w := range a.Beside {
		out = append(out, [2]string{"beside", w})
	}
	for _, w := range a.Within {
		out = append(out, [2]string{"within", w})
	}
	for _, w := range a.When {
		out = append(out, [2]string{Told, w})
	}
	for _, reason := range slices.Sorted(maps.Keys(a.Forbid)) {
		for _, w := range a.Forbid[reason] {
			out = append(out, [2]string{reason, w})
		}
	}
	return out
}

// with is both: a site adds to the words, it takes none away.
func (a Around) with(b Around) Around {
	out := Around{
		Beside: slices.Concat(a.Beside, b.Beside),
		Within: slices.Concat(a.Within, b.Within),
		When:   slices.Concat(a.When, b.When),
		Forbid: map[string][]string{},
	}
	for _, src := range []Around{a, b} {
		for reason, list := range src.Forbid {
			out.Forbid[reason] = slices.Concat(out.Forbid[reason], list)
		}
	}
	return out
}

// checkAround finds what is too much of, or cannot be said.
func (v *Vocabulary) checkAround(name string) error {
	v.Around.clean()
	all := v.Around.all()
	if len(all) > 400 {
		return fmt.Errorf("%s: around: more than 400 words", name)
	}
	for _, w := range all {
		number := strings.Contains(w[1], "{") && w[0] != Told
		if err := checkPhrase(w[1]); err != nil || number {
			return fmt.Errorf("%s: around: %s: %q: want 1 to 20 words in letters", name, w[0], w[1])
		}
	}
	return nil
}

// Surround returns the words around a callout as phrases, each with its reason: "" for
// one that means nothing, Told for a time, else why it forbids.
func (v *Vocabulary) Surround() (phrases []Phrase, reasons []string, err error) {
	for _, w := range v.Around.all() {
		if w[0] == "within" {
			continue
		}
		parts, err := v.parts(w[1])
		if err != nil {
			return nil, nil, fmt.Errorf("around: %s: %w", w[0], err)
		}
		reason := w[0]
		if reason == "beside" {
			reason = ""
		}
		phrases, reasons = append(phrases, Phrase{Callout: &talk, Text: w[1], Parts: parts}), append(reasons, reason)
	}
	return phrases, reasons, nil
}

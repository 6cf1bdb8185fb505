package intents

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Bounds of a confidence that a site may set: common practice, no source.
const (
	leastSure = 0.3
	mostSure  = 0.95
)

// ending are the callouts that end a case: one word alone, which any talk has, is no way to say them.
var ending = []string{"death", "code.end"}

// surest is the least confidence that a site may set for a built-in callout: what is dear to get
// wrong stays dearer than the rest.
func surest(c Callout) float64 {
	if c.Confidence > DefaultConfidence {
		return DefaultConfidence
	}
	return leastSure
}

// denies is why a phrase of a site's for a built-in callout says that nothing was done: a word that
// forbids a callout stands in it, or a question begins it, as in no phrase that is built in.
func (v *Vocabulary) denies(id, phrase string) string {
	c := v.find(id)
	if c == nil {
		return ""
	}
	if one := !strings.Contains(phrase, " "); one && slices.Contains(ending, id) {
		return "is one word"
	} else if other := v.elsewhere(id, phrase); one && other != "" {
		return "is one word, said in " + other
	}
	for _, reason := range slices.Sorted(maps.Keys(v.Around.Forbid)) {
		for _, w := range v.Around.Forbid[reason] {
			in := has(phrase, w)
			if reason == "question" {
				in = strings.HasPrefix(phrase+" ", w+" ")
			}
			if in && !slices.ContainsFunc(c.Phrases, func(p string) bool { return has(p, w) }) {
				return fmt.Sprintf("has %q in it (%s)", w, reason)
			}
		}
	}
	return ""
}

// has reports whether a text has words in it, one behind the other.
func has(text, words string) bool { return strings.Contains(" "+text+" ", " "+words+" ") }

// denying is the word in a text that denies, orders or makes a condition; empty if there is none.
func (v *Vocabulary) denying(text string) string {
	for _, reason := range []string{"negation", "order", "condition"} {
		for _, w := range v.Around.Forbid[reason] {
			if has(text, w) {
				return w
			}
		}
	}
	return ""
}

// elsewhere is another callout than id in whose phrases some words stand, one behind the other; empty if
// there is none.
func (v *Vocabulary) elsewhere(id, words string) string {
	for _, c := range v.Callouts {
		if c.ID != id && slices.ContainsFunc(c.Phrases, func(p string) bool { return has(p, words) }) {
			return c.ID
		}
	}
	return ""
}

// idle reports whether words of a callout are nothing but answers to our questions and courtesies; its
// own answers say what it means, but for a yes.
func (v *Vocabulary) idle(id string, words []string) bool {
	if len(words) == 0 {
		return true
	}
	for n := 1; n <= len(words); n++ {
		head := strings.Join(words[:n], " ")
		answers := func(c Callout) bool {
			return (c.ID != id || id == "confirm") && slices.Contains(c.Answers, head)
		}
		if (slices.Contains(v.Around.Beside, head) || slices.ContainsFunc(v.Callouts, answers)) && v.idle(id, words[n:]) {
			return true
		}
	}
	return false
}

// near is the phrase of another callout that differs from a site's by one letter; empty if none does.
func (v *Vocabulary) near(id, phrase string) string {
	const fewest = 8 // letters: "v f" and "v t" differ by one
	for _, c := range v.Callouts {
		for _, p := range c.Phrases {
			if c.ID != id && len(phrase) >= fewest && oneLetter(phrase, p) {
				return fmt.Sprintf("is %q of %s but for a letter", p, c.ID)
			}
		}
	}
	return ""
}

// oneLetter reports whether texts differ by one letter: another, one more or one less.
func oneLetter(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	if len(b)-len(a) > 1 || a == b {
		return false
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	return a[i:] == b[i+1:] || len(a) == len(b) && a[i+1:] == b[i+1:]
}

// soundsLike refuses an overlay that gives a word the sound of another word of callouts.
func (v *Vocabulary) soundsLike(name string, o *Vocabulary) error {
	words := map[string]bool{}
	for _, c := range v.Callouts {
		for _, p := range c.Phrases {
			for _, w := range strings.Fields(p) {
				words[w] = !slotForm.MatchString(w)
			}
		}
	}
	sounds := map[string]string{}
	for _, w := range slices.Sorted(maps.Keys(words)) {
		ways, _ := v.Pronounce(w)
		for _, way := range ways {
			sounds[strings.Join(way, " ")] = w
		}
	}
	for _, w := range slices.Sorted(maps.Keys(o.Pronunciations)) {
		own, _ := v.Pronounce(w)
		for _, p := range o.Pronunciations[w] {
			way := strings.Fields(p)
			same := func(x []string) bool { return slices.Equal(x, way) }
			if other := sounds[strings.Join(way, " ")]; other != "" && other != w && !slices.ContainsFunc(own, same) {
				return fmt.Errorf("%s:%d: pronunciations: %q would sound as %q of the callouts", name, o.soundLines[w], w, other)
			}
		}
	}
	return nil
}

// Lacks names what a vocabulary that stands alone cannot do without: no way to take back what was
// misheard, none to confirm an end.
func (v *Vocabulary) Lacks() (ids []string) {
	for _, id := range []string{"undo", "confirm"} {
		if v.Alone && v.find(id) == nil {
			ids = append(ids, id)
		}
	}
	return ids
}

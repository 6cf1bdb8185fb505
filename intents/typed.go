package intents

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Typed reads callouts that were typed instead of spoken: the vocabulary's
// phrases, with numbers in figures or in words.
type Typed struct {
	vocabulary *Vocabulary
	phrases    []Phrase
}

// NewTyped prepares a vocabulary for reading.
func NewTyped(v *Vocabulary) (*Typed, error) {
	phrases, err := v.Compile()
	if err != nil {
		return nil, err
	}
	return &Typed{v, slices.DeleteFunc(phrases, Phrase.Talk)}, nil
}

// Read returns the callout that a line says. A line that says none is refused
// with the phrase that comes nearest.
func (t *Typed) Read(line string) (Result, error) {
	said := typedWords(line)
	near, most := "", 0
	for _, p := range t.phrases {
		values, err := t.match(p, said)
		if err == nil {
			if len(values) == 0 {
				values = nil
			}
			return Result{Callout: p.Callout.ID, Text: strings.Join(said, " "), Values: values, Confidence: 1}, nil
		}
		if n := common(p, said); n > most {
			near, most = p.Text, n
		}
	}
	if near == "" {
		return Result{}, fmt.Errorf("%q is no callout: see coxswain callouts", line)
	}
	return Result{}, fmt.Errorf("%q is no callout: did you mean %q?", line, near)
}

// typedWords splits a line as phrases are written; a point within a number stays.
func typedWords(line string) []string {
	var out []string
	for _, w := range strings.Fields(strings.ToLower(line)) {
		if w = strings.Trim(w, ",.;:!?\""); w == "" {
			continue
		}
		if _, err := strconv.ParseFloat(w, 64); err == nil {
			out = append(out, w)
			continue
		}
		out = append(out, strings.Fields(clean(w))...)
	}
	return out
}

// match reads the numbers of a phrase out of the words typed for it.
func (t *Typed) match(p Phrase, said []string) (map[string]float64, error) {
	values, other := map[string]float64{}, fmt.Errorf("not said as %q", p.Text)
	for i, part := range p.Parts {
		if part.Word != "" {
			if len(said) == 0 || said[0] != part.Word {
				return nil, other
			}
			said = said[1:]
			continue
		}
		n := len(said) // the number runs to the next fixed word
		if i+1 < len(p.Parts) {
			n = slices.Index(said, p.Parts[i+1].Word)
		}
		if n < 1 {
			return nil, other
		}
		x, err := typedNumber(said[:n])
		s := t.vocabulary.SlotOf(p.Callout, part.Slot)
		if err != nil || !(x >= s.Min && x <= s.Max) || s.Step == 1 && x != math.Floor(x) {
			return nil, other
		}
		values[part.Slot], said = x, said[n:]
	}
	if len(said) > 0 {
		return nil, other
	}
	return values, nil
}

func typedNumber(said []string) (float64, error) {
	if len(said) == 1 {
		if x, err := strconv.ParseFloat(said[0], 64); err == nil {
			return x, nil
		}
	}
	return ParseNumber(said)
}

// common counts the words of a phrase that were typed.
func common(p Phrase, said []string) int {
	n := 0
	for _, part := range p.Parts {
		if part.Word != "" && slices.Contains(said, part.Word) {
			n++
		}
	}
	return n
}

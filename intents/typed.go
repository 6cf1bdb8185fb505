package intents

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// Typed reads callouts that were typed instead of spoken: the vocabulary's
// phrases, with numbers in figures or in words.
type Typed struct {
	vocabulary *Vocabulary
	phrases    []Phrase
	times      []Phrase // that may be told behind one
}

// NewTyped prepares a vocabulary for reading.
func NewTyped(v *Vocabulary) (*Typed, error) {
	phrases, err := v.Compile()
	if err != nil {
		return nil, err
	}
	answers, err := v.CompileAnswers()
	if err != nil {
		return nil, err
	}
	around, err := v.Surround()
	if err != nil {
		return nil, err
	}
	t := &Typed{vocabulary: v, phrases: slices.DeleteFunc(phrases, Phrase.Talk)}
	for _, p := range answers { // but no numbers and times: they are asked for, or heard behind what they are of
		_, err := ParseNumber([]string{p.Parts[0].Word})
		if err != nil && p.Parts[0].Slot == "" && p.Callout.ID != "backdate" {
			t.phrases = append(t.phrases, p)
		}
	}
	for _, p := range around {
		if p.Reason == Told {
			t.times = append(t.times, p.Phrase)
		}
	}
	return t, nil
}

// Read returns the callout that a line says, with the time behind it. A line that says none
// is refused with the phrase that comes nearest.
func (t *Typed) Read(line string) (Result, error) {
	said := typedWords(line)
	r, err := t.read(line, said)
	for k := 1; k < len(said) && err != nil; k++ {
		if !slices.ContainsFunc(t.times, func(p Phrase) bool { _, err := t.match(p, said[k:]); return err == nil }) {
			continue
		}
		if x, err := t.read(line, said[:k]); err == nil {
			x.When = strings.Join(said[k:], " ")
			return x, nil
		}
	}
	return r, err
}

// read returns the callout that some words say; the line is named in errors.
func (t *Typed) read(line string, said []string) (Result, error) {
	near, most := "", 0
	var bounds outOfBounds
	isOut := false
	for _, p := range t.phrases {
		values, err := t.match(p, said)
		isOut = errors.As(err, &bounds) || isOut
		if err == nil {
			if len(values) == 0 {
				values = nil
			}
			r := Result{Callout: p.Callout.ID, Text: strings.Join(said, " "), Values: values, Confidence: 1, Answer: p.Answer}
			return r, nil
		}
		if n := common(p, said); n > most {
			near, most = p.Text, n
		}
	}
	if isOut {
		return Result{}, fmt.Errorf("%q: %w", line, bounds)
	}
	if near == "" {
		return Result{}, fmt.Errorf("%q is no callout: see coxswain callouts", line)
	}
	return Result{}, fmt.Errorf("%q is no callout: did you mean %q?", line, slotMark.ReplaceAllString(near, "N"))
}

var slotMark = regexp.MustCompile(`\{[^}]*\}`)

// outOfBounds is a phrase that was understood, but for a number that cannot be.
type outOfBounds struct {
	of   Slot
	said float64
}

func (o outOfBounds) Error() string {
	if o.said >= o.of.Min && o.said <= o.of.Max {
		return fmt.Sprintf("%v %s: only whole numbers are heard", o.said, o.of.Unit)
	}
	return fmt.Sprintf("%v %s is not between %v and %v", o.said, o.of.Unit, o.of.Min, o.of.Max)
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
	var wrong error
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
		if err != nil {
			return nil, other
		}
		x, s, ok := t.vocabulary.read(p, i, x)
		if wrong == nil && !ok {
			wrong = outOfBounds{s, x}
		}
		values[part.Slot], said = x, said[n:]
	}
	if len(said) > 0 {
		return nil, other
	}
	return values, wrong
}

func typedNumber(said []string) (float64, error) {
	if len(said) == 1 {
		if x, err := strconv.ParseFloat(said[0], 64); err == nil {
			return x, nil
		}
	}
	return ParseNumber(said)
}

// common counts the words of a phrase that were typed: twice, or once if what was typed
// only begins as they do, as a slip of the fingers leaves it.
func common(p Phrase, said []string) int {
	const begins = 4 // letters
	n := 0
	for _, part := range p.Parts {
		switch {
		case part.Word == "":
		case slices.Contains(said, part.Word):
			n += 2
		case len(part.Word) > begins && slices.ContainsFunc(said, func(w string) bool {
			return strings.HasPrefix(w, part.Word[:begins])
		}):
			n++
		}
	}
	return n
}

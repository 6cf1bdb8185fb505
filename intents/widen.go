package intents

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// leastNear is the least that a slip may ask of a callout: less forbids nothing.
const leastNear = 0.1

// widens finds what of an overlay o takes numbers that the vocabulary below it, base, does not believe, or
// takes them in another unit: a tenfold dose would be read back as any other. v is what the two make.
func (v *Vocabulary) widens(name string, base, o *Vocabulary) error {
	for _, slot := range slices.Sorted(maps.Keys(o.Slots)) {
		b, ours := base.Slots[slot]
		if why := v.Slots[slot].wider(b); ours && why != "" {
			return fmt.Errorf("%s:%d: slot %s: %s: a built-in slot may be narrowed; for anything else define one of your own",
				name, o.Slots[slot].line, slot, why)
		}
	}
	for _, c := range o.Callouts {
		b := base.find(c.ID)
		if why := v.foreign(c, b); why != "" {
			return fmt.Errorf("%s:%d: callout %s: %s: its amount would be lost, or be another", name, c.Line, c.ID, why)
		}
		for _, slot := range slices.Sorted(maps.Keys(c.Max)) {
			if b == nil || base.Slots[slot].Unit == "" {
				continue
			}
			if most := base.SlotOf(b, slot).Max; c.Max[slot] > most {
				return fmt.Errorf("%s:%d: callout %s: max of %s is %v, want at most %v: a number far above what is given "+
					"must not be heard as any other", name, c.Line, c.ID, slot, c.Max[slot], most)
			}
		}
	}
	return nil
}

// foreign finds a number in the phrases of a callout that is not one of the built-in callout's, or that is
// said in the unit of another: "our epi {my_mg} given", "epi {dose_mg} grams given". Empty if there is none.
func (v *Vocabulary) foreign(c Callout, built *Callout) string {
	if built == nil {
		return ""
	}
	takes := map[string]bool{}
	for _, p := range built.Phrases {
		for _, w := range strings.Fields(p) {
			takes[w] = true
		}
	}
	for _, p := range append(slices.Clone(c.Phrases), c.Answers...) {
		words := strings.Fields(strings.ReplaceAll(p, "{n}", "{"+built.lends()+"}"))
		for i, w := range words {
			if !slotForm.MatchString(w) {
				continue
			}
			if !takes[w] && w != "{n}" { // that one is borrowed from a callout without a number
				return fmt.Sprintf("%q has %s in it, which the built-in callout does not take", p, w)
			}
			if i > 0 && partOfNumber(words[i-1]) {
				return fmt.Sprintf("%q has %q before %s, a part of the number that is not in it", p, words[i-1], w)
			}
			if i+1 < len(words) && v.otherUnit(strings.Trim(w, "{}"), words[i+1]) {
				return fmt.Sprintf("%q has %s in %s", p, w, words[i+1])
			}
		}
	}
	return ""
}

// partOfNumber reports whether a word may be the beginning of a number: "point", "twenty".
func partOfNumber(word string) bool {
	_, err := ParseNumber([]string{word})
	return err == nil || slices.Contains([]string{"point", "half", "tenth"}, word)
}

// otherUnit reports whether a word is the unit of a slot, and not of this one.
func (v *Vocabulary) otherUnit(slot, word string) bool {
	in := func(s Slot) bool {
		own := strings.Fields(s.Unit)
		return s.Units[word] != 0 || slices.Contains(own, word) || slices.Contains(own, word+"s")
	}
	if in(v.Slots[slot]) {
		return false
	}
	for _, s := range v.Slots {
		if in(s) {
			return true
		}
	}
	return false
}

// wider is what a slot takes that another does not; empty if nothing.
func (s Slot) wider(than Slot) string {
	switch {
	case s.Min < than.Min || s.Max > than.Max:
		return fmt.Sprintf("%v to %v, want within %v to %v", s.Min, s.Max, than.Min, than.Max)
	case s.Step != than.Step && than.Step != 0:
		return fmt.Sprintf("step %v, want %v", s.Step, than.Step)
	case s.Unit != than.Unit:
		return fmt.Sprintf("unit %q, want %q", s.Unit, than.Unit)
	case !maps.Equal(s.Units, than.Units):
		return fmt.Sprintf("units %v, want %v", s.Units, than.Units)
	}
	return ""
}

// over is a site's slot with what it leaves out taken from the one below it.
func (s Slot) over(below Slot) Slot {
	if s.Unit == "" {
		s.Unit = below.Unit
	}
	if s.Step == 0 {
		s.Step = below.Step
	}
	if s.Units == nil {
		s.Units = below.Units
	}
	return s
}

// bound keeps the bounds of a built-in callout that one in its place leaves out.
func (c *Callout) bound(below *Callout) {
	most := maps.Clone(below.Max)
	if most == nil {
		most = map[string]float64{}
	}
	maps.Copy(most, c.Max)
	if len(most) > 0 {
		c.Max = most
	}
}

// nearer finds a slip of an overlay that asks less of a callout than a built-in one, or as good as nothing.
func (base *Vocabulary) nearer(name string, o *Vocabulary) error {
	for _, s := range o.Around.Slips {
		least := leastNear
		for _, b := range base.Around.Slips {
			if b.Heard == s.Heard && b.Meant == s.Meant {
				least = b.Lead()
			}
		}
		if s.Lead() < least {
			return fmt.Errorf("%s:%d: around: slips: %q for %q: near is %v, want at least %v: it would have nothing asked about",
				name, s.line, s.Heard, s.Meant, s.Lead(), least)
		}
	}
	return nil
}

package intents

import (
	"fmt"
	"math"
	"strings"

	"go.yaml.in/yaml/v3"
)

// UnmarshalYAML keeps the line for errors.
func (s *Slot) UnmarshalYAML(n *yaml.Node) error {
	type plain Slot
	if err := OnlyKeys(n, "in a slot", "unit", "min", "max", "step", "units"); err != nil {
		return err
	}
	if err := n.Decode((*plain)(s)); err != nil {
		return err
	}
	s.line = n.Line
	return nil
}

// SlotOf is a slot with the bounds that a callout has for it.
func (v *Vocabulary) SlotOf(c *Callout, name string) Slot {
	s := v.Slots[name]
	if x, ok := c.Max[name]; ok {
		s.Max = min(s.Max, x)
	}
	return s
}

// Spoken is the slot of part i of a phrase as its number is said: where one of the callout's
// phrases has it in another unit, up to a number that may be said in that.
func (v *Vocabulary) Spoken(p Phrase, i int) Slot {
	s := v.SlotOf(p.Callout, p.Parts[i].Slot)
	for _, times := range p.Callout.units(s, "{"+p.Parts[i].Slot+"}") {
		s.Step = 0
		if times < 1 {
			s.Max = max(s.Max, min(999, s.Max/times))
		}
	}
	return s
}

// checkUnits finds a unit that no number can be in.
func (s Slot) checkUnits() error {
	for w, times := range s.Units {
		if !wordForm.MatchString(w) || !(times > 0 && times <= 1000) {
			return fmt.Errorf("unit %q: %v, want a word in letters and above 0 to 1000", w, times)
		}
	}
	return nil
}

// read is the value of a number said for part i of a phrase, in the slot's own unit; ok is false
// if it cannot be.
func (v *Vocabulary) read(p Phrase, i int, said float64) (x float64, s Slot, ok bool) {
	s = v.SlotOf(p.Callout, p.Parts[i].Slot)
	x = said
	if i+1 < len(p.Parts) {
		if times := s.Units[p.Parts[i+1].Word]; times != 0 {
			x = math.Round(said*times*1e6) / 1e6
			if s.Step == 1 {
				x = math.Round(x)
			}
		}
	}
	return x, s, x >= s.Min && x <= s.Max && (s.Step != 1 || x == math.Floor(x))
}

// units are what numbers of a slot are multiplied with in the phrases of a callout.
func (c *Callout) units(s Slot, slot string) (out []float64) {
	if len(s.Units) == 0 {
		return nil
	}
	for _, p := range c.Phrases {
		words := strings.Fields(p)
		for i, w := range words[1:] {
			if times := s.Units[w]; times != 0 && words[i] == slot {
				out = append(out, times)
			}
		}
	}
	return out
}

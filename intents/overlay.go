package intents

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// overlay lays o over v and returns the result.
func (v *Vocabulary) overlay(name string, o *Vocabulary) (*Vocabulary, error) {
	known, unknown := v.knows(o)
	out := &Vocabulary{
		Version:        v.Version,
		Language:       v.Language,
		LeadWord:       v.LeadWord,
		LeadAll:        v.LeadAll || o.LeadAll,
		Slots:          map[string]Slot{},
		Pronunciations: map[string][]string{},
	}
	out.Around, out.Either = v.Around.with(o.Around), slices.Concat(v.Either, o.Either)
	if o.LeadWord != "" {
		out.LeadWord = o.LeadWord
	}
	for _, src := range []*Vocabulary{v, o} {
		for n, s := range src.Slots {
			out.Slots[n] = s.over(v.Slots[n])
		}
		maps.Copy(out.Pronunciations, src.Pronunciations)
	}
	switch {
	case o.Replace || unknown >= 0 && known == 0:
		out.Talk, out.Around, out.Either, out.Alone = o.Talk, o.Around, o.Either, true
		out.takePlaces(v, o.Callouts)
		return out, out.checkWords(name, o)
	case unknown >= 0:
		c := o.Callouts[unknown]
		return nil, fmt.Errorf(
			"%s:%d: unknown callout %q: see `coxswain callouts` for the ids, mark it new: true, or put replace: true at the top",
			name,
			c.Line,
			c.ID,
		)
	}
	out.Callouts = append(out.Callouts, v.Callouts...)
	out.Talk = append(append([]Talk{}, v.Talk...), o.Talk...)
	for _, c := range o.Callouts {
		if b := out.find(c.ID); b != nil {
			b.lay(c)
		} else {
			out.Callouts = append(out.Callouts, c)
		}
	}
	out.borrowSlots(v)
	return out, out.checkWords(name, o)
}

// knows is how many callouts of an overlay are built in or said to be new, and the first that is
// neither; -1: there is none.
func (v *Vocabulary) knows(o *Vocabulary) (known, unknown int) {
	unknown = -1
	for i, c := range o.Callouts {
		if v.find(c.ID) != nil || c.New {
			known++
		} else if unknown < 0 {
			unknown = i
		}
	}
	return known, unknown
}

// takePlaces puts callouts in the place of those of another vocabulary, within their bounds.
func (v *Vocabulary) takePlaces(of *Vocabulary, callouts []Callout) {
	v.Callouts = callouts
	for i := range v.Callouts {
		if b := of.find(v.Callouts[i].ID); b != nil {
			v.Callouts[i].bound(b)
		}
	}
	v.borrowSlots(of)
}

// lay lays a site's callout over this one: phrases are added, the rest is taken
// where it is given.
func (c *Callout) lay(over Callout) {
	c.Phrases = append(append([]string{}, c.Phrases...), over.Phrases...)
	c.Lead = c.Lead || over.Lead
	if len(over.Usual) > 0 {
		c.Usual = over.Usual
	}
	over.bound(c)
	c.Max = over.Max
	if over.Confidence != 0 {
		c.Confidence = over.Confidence
	}
}

// checkWords finds slots and words of an overlay o that v cannot hear.
func (v *Vocabulary) checkWords(name string, o *Vocabulary) error {
	for _, c := range o.Callouts {
		for _, w := range strings.Fields(strings.Join(c.Phrases, " ")) {
			if slotForm.MatchString(w) {
				continue
			}
			if _, err := v.Pronounce(w); err != nil {
				return fmt.Errorf("%s:%d: callout %s: %w", name, c.Line, c.ID, err)
			}
		}
	}
	if err := v.sayable(name, o.Around); err != nil {
		return err
	}
	if err := v.checkEither(name, o.Either); err != nil {
		return err
	}
	for _, t := range o.Talk {
		if _, err := v.parts(t.Text); err != nil {
			return fmt.Errorf("%s:%d: talk: %w", name, t.Line, err)
		}
		for _, c := range v.Callouts {
			if slices.Contains(c.Phrases, t.Text) {
				return fmt.Errorf("%s:%d: talk: %q is a phrase of %s and would be lost", name, t.Line, t.Text, c.ID)
			}
		}
	}
	return v.checkSlots(name, o)
}

// borrowSlots lets an overlay write {n} for the one slot that its callout has
// in the vocabulary below.
func (v *Vocabulary) borrowSlots(base *Vocabulary) {
	for i := range v.Callouts {
		c := &v.Callouts[i]
		slot := base.find(c.ID).lends()
		for k, p := range c.Phrases {
			if strings.Contains(p, "{n}") {
				c.Phrases[k] = strings.ReplaceAll(p, "{n}", "{"+slot+"}")
				if _, ok := v.Slots[slot]; !ok {
					v.Slots[slot] = Slot{Unit: "number", Max: 9999}
				}
			}
		}
	}
}

// lends is the name of the slot that {n} stands for in an overlay's phrases of this callout.
func (c *Callout) lends() string {
	slot := "n"
	if c == nil {
		return slot
	}
	for _, p := range c.Phrases {
		for _, w := range strings.Fields(p) {
			if slotForm.MatchString(w) && w != "{n}" {
				slot = strings.Trim(w, "{}")
			}
		}
	}
	return slot
}

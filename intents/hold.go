package intents

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Hold tells what keeps a callout with these numbers, by slot, from being one that
// can be said: an unknown id, a slot that none of its phrases has, a number out of
// the slot's bounds. Whoever writes a callout by hand is held to the same.
func (v *Vocabulary) Hold(id string, values map[string]float64) error {
	c := v.Find(id)
	if c == nil {
		return fmt.Errorf("there is no callout %.64q: `coxswain callouts` lists them", id)
	}
	takes := c.slots()
	for _, name := range slices.Sorted(maps.Keys(values)) {
		switch s, x := v.SlotOf(c, name), values[name]; {
		case !slices.Contains(takes, name) && len(takes) == 0:
			return fmt.Errorf("%s takes no number", id)
		case !slices.Contains(takes, name):
			return fmt.Errorf("%s takes no %.64q: choose of %s", id, name, strings.Join(takes, ", "))
		case !(x >= s.Min && x <= s.Max), s.Step == 1 && x != math.Trunc(x):
			return fmt.Errorf("%s of %s is %s: want %s to %s %s", name, id, plainNumber(x), plainNumber(s.Min),
				plainNumber(s.Max), s.Unit)
		}
	}
	for _, name := range takes {
		if _, given := values[name]; !given && c.needs(name) {
			return fmt.Errorf("%s is nothing without %s: give it as --value %s=NUMBER", id, name, name)
		}
	}
	return nil
}

// needs reports whether each of its phrases holds a number.
func (c *Callout) needs(slot string) bool {
	return !slices.ContainsFunc(c.Phrases, func(p string) bool { return !strings.Contains(p, "{"+slot+"}") })
}

// slots are the names of the numbers that its phrases hold.
func (c *Callout) slots() []string {
	var out []string
	for _, p := range c.Phrases {
		for _, w := range strings.Fields(p) {
			if name := strings.Trim(w, "{}"); slotForm.MatchString(w) && !slices.Contains(out, name) {
				out = append(out, name)
			}
		}
	}
	slices.Sort(out)
	return out
}

func plainNumber(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }

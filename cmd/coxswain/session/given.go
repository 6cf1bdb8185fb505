package session

import (
	"slices"
	"strings"

	"coxswain/timeline"
)

// Given is what was given so far of one thing: shocks, cardioversions, a drug.
type Given struct {
	Name   string  `json:"name"`
	Count  int     `json:"count"`
	Ago    float64 `json:"ago_s"`  // since the last
	Before bool    `json:"before"` // the last was given before arrival, and nobody has said when
}

// loudFrom is the level of the room, in dBFS, from which on callouts are likely
// to be missed: common practice, no source.
const loudFrom = -30

// given counts shocks, then drugs by when they were last given, newest first; those before arrival among them.
func given(st timeline.State, now timeline.Time, words string) []Given {
	out := []Given{}
	for _, synced := range []bool{false, true} {
		g := Given{Name: map[bool]string{false: "shock", true: "cardioversion"}[synced]}
		for _, x := range st.Shocks {
			if x.Synced == synced {
				g.Count, g.Ago = g.Count+1, (now - x.At).Seconds()
			}
		}
		if g.Before = g.Count == 0; !synced {
			g.Count += st.ShocksBefore
		}
		if g.Count > 1 {
			g.Name += "s"
		}
		if g.Count > 0 {
			out = append(out, g)
		}
	}
	n := len(out)
	for drug, doses := range st.Given {
		last := doses[len(doses)-1]
		name := timeline.Reword(words, strings.ReplaceAll(drug, "_", " "))
		out = append(out, Given{name, len(doses), (now - last.At).Seconds(), last.Untimed})
	}
	slices.SortFunc(out[n:], func(a, b Given) int {
		if a.Ago != b.Ago {
			return int(a.Ago*10) - int(b.Ago*10)
		}
		return strings.Compare(a.Name, b.Name)
	})
	return out
}

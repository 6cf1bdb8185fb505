package paper

import (
	"testing"

	"coxswain/intents"
)

// The card names every callout in a group of its own making.
func TestCardNamesEveryCallout(t *testing.T) {
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	sides, err := card(v)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range sides {
		for _, g := range s.Groups {
			if g.Title == "Your unit's own" {
				t.Errorf("callouts without a place in card.yaml: %v", g.Lines)
			}
			for _, id := range g.Callouts {
				one := cardGroup{Callouts: []string{id}}
				found := false
				for _, c := range v.Callouts {
					found = found || one.covers(c.ID)
				}
				if !found {
					t.Errorf("%s, %s: the vocabulary has no %s", s.Title, g.Title, id)
				}
			}
		}
	}
}

package intents

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// Another form of a callout's own words reports nothing; a site adds to the forms.
func TestInflections(t *testing.T) {
	site := filepath.Join(t.TempDir(), "site.yaml")
	os.WriteFile(site, []byte("around:\n  auxiliaries: [being]\n  forms: [{order: swap, past: swapped, doing: swapping},"+
		" {order: change, past: changed, doing: changing}]\n  openings: [{said: we have, meant: they had}]\n"+
		"callouts:\n  - {id: compressions.stop, phrases: [change hands off]}\n"), 0o600)
	v, err := LoadVocabulary(site)
	if err != nil {
		t.Fatal(err)
	}
	phrases, err := v.Compile()
	if err != nil {
		t.Fatal(err)
	}
	for text, of := range map[string]string{
		"who started compressions":     "compressions.start",
		"who is starting compressions": "compressions.start",
		"they stopped compressions":    "compressions.stop",
		"charge to {energy_j}":         "shock.charging",
		"who changed hands off":        "compressions.stop",
		"they had a pulse":             "pulse.present",
	} {
		if !slices.ContainsFunc(phrases, func(p Phrase) bool {
			return p.Text == text && p.Talk() && p.Inflects != nil && p.Inflects.ID == of
		}) {
			t.Errorf("%q does not compete with %s as talk", text, of)
		}
	}
	if !slices.Contains(v.Around.Auxiliaries, "being") || !slices.Contains(v.Around.Auxiliaries, "was") {
		t.Errorf("auxiliaries of a site: %q", v.Around.Auxiliaries)
	}
	for _, p := range phrases { // an order that is a callout stays one
		if p.Inflects != nil && slices.Contains(p.Inflects.Phrases, p.Text) {
			t.Errorf("%q is talk and a phrase of %s", p.Text, p.Inflects.ID)
		}
	}
}

// Far too much of a drug is heard, so that it can be questioned; what no syringe holds is not.
func TestOverdoseIsInBounds(t *testing.T) {
	v := builtin(t)
	for _, x := range []struct {
		drug string
		mg   float64
		ok   bool
	}{
		{"drug.epinephrine", 10, true}, {"drug.epinephrine", 319, false},
		{"drug.amiodarone", 1500, true}, {"drug.atropine", 10, true}, {"drug.magnesium", 2000, true},
	} {
		if got := v.inBounds(v.Find(x.drug), map[string]float64{"dose_mg": x.mg}); got != x.ok {
			t.Errorf("%s %v mg in bounds: %v, want %v", x.drug, x.mg, got, x.ok)
		}
	}
}

// A slip puts what may have been meant in the place of what was heard.
func TestSlips(t *testing.T) {
	for _, c := range []struct {
		slip       Slip
		said, want string // "": it is not in it
	}{
		{Slip{Heard: "have", Meant: "had"}, "we have a pulse", "we had a pulse"},
		{Slip{Heard: "is in", Meant: "is drawn up"}, "epi is in", "epi is drawn up"},
		{Slip{Heard: "is in", Meant: "was in"}, "is it in", ""},
		{Slip{Heard: "given at", Meant: "at"}, "shock given at two hundred", "shock at two hundred"},
	} {
		got, ok := c.slip.Instead(strings.Fields(c.said))
		if strings.Join(got, " ") != c.want || ok != (c.want != "") {
			t.Errorf("%v in %q: %q, %v, want %q", c.slip, c.said, got, ok, c.want)
		}
	}
}

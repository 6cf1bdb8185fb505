package intents

import (
	"strings"
	"testing"
)

// A built-in callout takes its own numbers in their own units: another's would be lost, or be a thousandfold.
func TestNumbersOfAnotherCallout(t *testing.T) {
	for text, want := range map[string]string{
		"slots:\n  my_mg: {unit: milligrams, min: 0, max: 5000, step: 0.1}\n" +
			"callouts:\n  - {id: drug.epinephrine, phrases: [\"our epi {my_mg} given\"]}": "ours.yaml:4: ",
		"callouts:\n  - {id: drug.epinephrine, phrases: [\"epi {energy_j} given\"]}":               "does not take",
		"callouts:\n  - {id: drug.epinephrine, phrases: [\"epi {dose_mg} grams given\"]}":          "in grams",
		"callouts:\n  - {id: drug.epinephrine, phrases: [\"our epi {dose_mg} milligrams given\"]}": "",
		"callouts:\n  - {id: drug.epinephrine, phrases: [\"epi point {dose_mg} given\"]}":          "a part of the number",
		"callouts:\n  - {id: drug.epinephrine, phrases: [\"epi twenty {dose_mg} given\"]}":         "a part of the number",
		"callouts:\n  - {id: shock.given, phrases: [\"zapped {n}\"]}":                              "",
		"callouts:\n  - {id: drug.epinephrine, phrases: [\"epi point {n} given\"]}":                "a part of the number",
		"callouts:\n  - {id: shock.given, phrases: [\"zapped one {n}\"]}":                          "a part of the number",
		"callouts:\n  - {id: drug.epinephrine, phrases: [\"epi {n} grams given\"]}":                "in grams",
		"callouts:\n  - {id: drug.epinephrine, phrases: [\"our epi {n} milligrams given\"]}":       "",
	} {
		_, err := laid(t, text)
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

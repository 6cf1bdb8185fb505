package intents

import (
	"strings"
	"testing"
)

// A card shows what a protocol prefers, only where it can be said so.
func TestPrefer(t *testing.T) {
	v := builtin(t)
	european := strings.NewReplacer("epinephrine", "adrenaline", "epi", "adrenaline", "compressions", "squeezes")
	shown := v.Prefer(european.Replace)
	for _, id := range []string{"drug.epinephrine", "compressions.start"} {
		for _, p := range shown.Find(id).Phrases {
			known := false
			for _, x := range v.Find(id).Phrases {
				known = known || x == p
			}
			if !known {
				t.Errorf("%s cannot be said: %q", id, p)
			}
		}
	}
	if first := shown.Find("drug.epinephrine").Phrases[0]; !strings.Contains(first, "adrenaline") {
		t.Errorf("shown first: %q", first)
	}
	if len(v.Find("drug.epinephrine").Phrases) <= len(shown.Find("drug.epinephrine").Phrases) {
		t.Error("nothing is heard less, and less is shown")
	}
}

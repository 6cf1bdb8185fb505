package intents

import "slices"

// Prefer returns the vocabulary with each phrase shown in the words that a protocol
// prefers, where it can be said so too: for cards. What is heard stays the same.
func (v *Vocabulary) Prefer(reword func(string) string) *Vocabulary {
	other := *v
	other.Callouts = slices.Clone(v.Callouts)
	for i, c := range v.Callouts {
		var preferred, rest []string
		for _, p := range c.Phrases {
			switch w := reword(p); {
			case !slices.Contains(c.Phrases, w):
				rest = append(rest, p)
			case !slices.Contains(preferred, w):
				preferred = append(preferred, w)
			}
		}
		if len(preferred) == 0 { // it is said in the other words only
			preferred = rest
		}
		other.Callouts[i].Phrases = preferred
	}
	return &other
}

package prompts

import (
	"fmt"
	"slices"
	"strings"

	"coxswain/timeline"
)

// In returns a voice that speaks a protocol's words (timeline.Protocol.Words). The
// empty set is the American one.
func (v *Voice) In(words string) (*Voice, error) {
	f, err := parseCues("cues.yaml", cuesFile)
	if err != nil {
		return nil, err
	}
	if known := timeline.WordSets(); words != "" && !slices.Contains(known, words) {
		return nil, fmt.Errorf("no words %q: choose one of %s", words, strings.Join(known, ", "))
	}
	other := *v
	other.cues, other.items = f.in(words)
	return &other, nil
}

// in returns the sentences and items in a set of words.
func (f cueFile) in(words string) (cues, items map[string]string) {
	all := func(from map[string]string) map[string]string {
		out := make(map[string]string, len(from))
		for id, text := range from {
			out[id] = timeline.Reword(words, text)
		}
		return out
	}
	return all(f.Cues), all(f.Items)
}

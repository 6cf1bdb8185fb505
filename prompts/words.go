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
	other := f.in(words)
	other.clips = v.clips
	return other, nil
}

// in returns a voice without clips in a set of words.
func (f cueFile) in(words string) *Voice {
	all := func(from map[string]string) map[string]string {
		out := make(map[string]string, len(from))
		for id, text := range from {
			out[id] = timeline.Reword(words, text)
		}
		return out
	}
	return &Voice{cues: all(f.Cues), items: all(f.Items), written: all(f.Written)}
}

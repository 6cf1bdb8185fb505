package prompts

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// In returns a voice that speaks a protocol's words (timeline.Protocol.Words):
// a set in cues.yaml that says which words take the place of which. The empty
// set is the American one.
func (v *Voice) In(words string) (*Voice, error) {
	f, err := parseCues("cues.yaml", cuesFile)
	if err != nil {
		return nil, err
	}
	if words != "" && f.Words[words] == nil {
		return nil, fmt.Errorf("no words %q: choose one of %s", words, strings.Join(slices.Sorted(maps.Keys(f.Words)), ", "))
	}
	other := *v
	other.cues, other.items = f.in(words)
	return &other, nil
}

// in returns the sentences and items in a set of words.
func (f cueFile) in(words string) (cues, items map[string]string) {
	set := f.Words[words]
	if len(set) == 0 {
		return f.Cues, f.Items
	}
	all := func(from map[string]string) map[string]string {
		out := make(map[string]string, len(from))
		for id, text := range from {
			out[id] = reword(text, set)
		}
		return out
	}
	return all(f.Cues), all(f.Items)
}

var letters = regexp.MustCompile(`[A-Za-z]+|\{[a-z_]+\}`)

// reword puts the words of a set in the place of others, capitals kept; slots
// stay as they are.
func reword(text string, set map[string]string) string {
	return letters.ReplaceAllStringFunc(text, func(w string) string {
		other, ok := set[strings.ToLower(w)]
		if !ok {
			return w
		}
		if r := []rune(other); unicode.IsUpper([]rune(w)[0]) {
			r[0] = unicode.ToUpper(r[0])
			return string(r)
		}
		return other
	})
}

package intents

import (
	"slices"
	"strings"
	"testing"
)

// What is looked for by halving must lie in order; the words are CMUdict's, their sounds as
// cmudict.dict has them.
func TestLexicon(t *testing.T) {
	var words []string
	for line := range strings.Lines(lexicon) {
		words = append(words, entry(line))
	}
	if !slices.IsSorted(words) {
		t.Error("the words of lexicon.txt are not in order")
	}
	for word, want := range map[string][]string{
		words[0]:            {"B AW T"},
		"tomato":            {"T AH M EY T OW", "T AH M AA T OW"},
		"o":                 {"OW"},
		"shock":             {"SH AA K"},
		words[len(words)-1]: {"Z IH W IH K IY"},
		"":                  nil,
		"(":                 nil,
		"shoc":              nil,
		"~":                 nil,
	} {
		if got := find(word); !slices.Equal(got, want) {
			t.Errorf("%q: got %q, want %q", word, got, want)
		}
	}
}

package acoustic

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coxswain/intents"
)

// A site's own vocabulary of single words is heard, the little ones too.
func TestLoneWords(t *testing.T) {
	words := strings.Fields("yes no up down left right on off stop go")
	text := "callouts:\n"
	for _, w := range words {
		text += fmt.Sprintf("  - {id: word.%s, phrases: [%q]}\n", w, w)
	}
	path := filepath.Join(t.TempDir(), "words.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	own, err := intents.LoadVocabulary(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, voice := range []string{"slt", "awb"} {
		n, next := 0, 0
		for _, r := range hear(t, func(v *intents.Vocabulary) { *v = *own }, speakAs(t, voice, strings.Join(words, ". ")+"."), 1600) {
			if k := slices.Index(words[next:], r.Text); k >= 0 {
				n, next = n+1, next+k+1
			}
		}
		if n < len(words)-1 { // one may be missed
			t.Errorf("%s: %d of %d words in a row", voice, n, len(words))
		}
	}
}

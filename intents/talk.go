package intents

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Talk is a phrase that is heard only to be thrown away: what a team says around
// a callout's words and means as none, a question above all.
type Talk struct {
	Text string
	Line int
}

// UnmarshalYAML keeps the line for errors.
func (t *Talk) UnmarshalYAML(n *yaml.Node) error {
	t.Line = n.Line
	return n.Decode(&t.Text)
}

// MarshalText makes JSON show the phrase alone.
func (t Talk) MarshalText() ([]byte, error) { return []byte(t.Text), nil }

// UnmarshalText reads what MarshalText wrote.
func (t *Talk) UnmarshalText(b []byte) error {
	t.Text = string(b)
	return nil
}

// talk is the callout of all talk.
var talk = Callout{}

// Talk reports whether the phrase is talk: a recogniser lets it compete with
// the callouts, and says nothing when it was said.
func (p Phrase) Talk() bool { return p.Callout.ID == "" }

// checkTalk cleans the talk of a file and finds what cannot be said in it.
func (v *Vocabulary) checkTalk(name string) error {
	if len(v.Talk) > 200 {
		return fmt.Errorf("%s:%d: more than 200 phrases of talk", name, v.Talk[200].Line)
	}
	for i, t := range v.Talk {
		v.Talk[i].Text = clean(t.Text)
		if err := checkPhrase(v.Talk[i].Text); err != nil {
			return fmt.Errorf("%s:%d: talk: %w", name, t.Line, err)
		}
	}
	return nil
}

// checkPhrase finds what cannot be said in a phrase.
func checkPhrase(p string) error {
	words := strings.Fields(p)
	if len(words) == 0 || len(words) > 20 {
		return fmt.Errorf("phrase %.60q: want 1 to 20 words", p)
	}
	for _, w := range words {
		if !wordForm.MatchString(w) && !slotForm.MatchString(w) {
			return fmt.Errorf("phrase %q: write %q in letters (numbers as words, slots as {energy_j})", p, w)
		}
	}
	return nil
}

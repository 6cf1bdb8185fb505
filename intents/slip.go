package intents

import (
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Slip is words of a callout that are heard for others. A callout in which they fit hardly
// better than what was meant instead is to be asked about.
type Slip struct {
	Heard string `yaml:"heard" json:"heard"` // words of a phrase, in a row: "have"
	Meant string `yaml:"meant" json:"meant"` // what may stand in their place: "had"
	// Near is the log score by which the callout must fit better; 0: SlipNear.
	Near float64 `yaml:"near" json:"near,omitempty"`
	line int
}

// SlipNear is the Near of a slip that names none.
const SlipNear = 2.5

// Lead is the log score by which a callout must fit better than with this slip.
func (s Slip) Lead() float64 {
	if s.Near == 0 {
		return SlipNear
	}
	return s.Near
}

// UnmarshalYAML keeps the line for errors.
func (s *Slip) UnmarshalYAML(n *yaml.Node) error {
	type plain Slip
	if err := OnlyKeys(n, "in a slip: known are heard, meant, near", "heard", "meant", "near"); err != nil {
		return err
	}
	if err := n.Decode((*plain)(s)); err != nil {
		return err
	}
	s.line = n.Line
	return nil
}

// Instead returns the words with what was meant in the place of what was heard; ok is false if
// they do not hold it.
func (s Slip) Instead(said []string) (meant []string, ok bool) {
	heard := strings.Fields(s.Heard)
	for i := 0; i+len(heard) <= len(said); i++ {
		if slices.Equal(said[i:i+len(heard)], heard) {
			return slices.Concat(said[:i], strings.Fields(s.Meant), said[i+len(heard):]), true
		}
	}
	return nil, false
}

// checkSlips cleans the slips of a file and finds what cannot be said in them.
func (a *Around) checkSlips(name string) error {
	if len(a.Slips) > 100 {
		return fmt.Errorf("%s:%d: around: more than 100 slips", name, a.Slips[100].line)
	}
	for i := range a.Slips {
		s := &a.Slips[i]
		s.Heard, s.Meant = clean(s.Heard), clean(s.Meant)
		for _, words := range []string{s.Heard, s.Meant} {
			if !plainWords(words) {
				return fmt.Errorf("%s:%d: around: slips: %q: want 1 to 20 words in letters", name, s.line, words)
			}
		}
		if !(s.Near >= 0 && s.Near <= 20) {
			return fmt.Errorf("%s:%d: around: slips: near is %v, want 0 to 20", name, s.line, s.Near)
		}
		if s.Heard == s.Meant {
			return fmt.Errorf("%s:%d: around: slips: %q is heard and meant", name, s.line, s.Heard)
		}
	}
	return nil
}

// plainWords reports whether a text is 1 to 20 words in letters, without a number.
func plainWords(text string) bool { return checkPhrase(text) == nil && !strings.Contains(text, "{") }

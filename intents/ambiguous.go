package intents

import (
	"fmt"
	"slices"
	"strings"
)

// slight are words that stand in any sentence: alone, none can be a callout.
var slight = strings.Fields("a an the and or of to in on at it is are was be this that " +
	"we i you he she they so then there for with from by")

// checkPhrases finds a phrase of an overlay that means something else already, or
// that any sentence would hold. Where none of the callouts is ours, whoever wrote them may listen for "on".
func (v *Vocabulary) checkPhrases(name string, o *Vocabulary) error {
	means := map[string]string{}
	for _, c := range v.Callouts {
		for _, p := range c.Phrases {
			if other, taken := means[p]; taken && other != c.ID && o.lineOf(p) > 0 {
				return fmt.Errorf("%s:%d: %q is said for %s and for %s: say it another way", name, o.lineOf(p), p, other, c.ID)
			}
			means[p] = c.ID
		}
	}
	if v.Alone && !o.Replace {
		return nil
	}
	for _, c := range o.Callouts {
		for _, p := range c.Phrases {
			if slices.Contains(slight, p) {
				return fmt.Errorf("%s:%d: %q stands in any sentence: callout %s needs more words", name, c.Line, p, c.ID)
			}
		}
	}
	return nil
}

// lineOf is the line of the callout that has the phrase; 0 if none has.
func (v *Vocabulary) lineOf(phrase string) int {
	for _, c := range v.Callouts {
		if slices.Contains(c.Phrases, phrase) {
			return c.Line
		}
	}
	return 0
}

package timeline

import (
	"regexp"
	"testing"
)

// A question reads as words, and each that the machine can ask has its own.
func TestQuestionsInWords(t *testing.T) {
	raw := regexp.MustCompile(`question\.[a-z.]+$`)
	for _, id := range []string{"question.energy", "question.drug.amount", "question.shock.rhythm", "question.weight", "hear.sure",
		"case.silent", "question.pressure", "question.measured", "question.sync.off", "question.backdate"} {
		if w := (Event{Kind: Question, Cue: id}).Words(); raw.MatchString(w) || w == "question: "+id {
			t.Errorf("%s reads %q", id, w)
		}
	}
}

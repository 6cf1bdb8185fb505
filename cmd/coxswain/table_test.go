package main

import (
	"strings"
	"testing"

	"coxswain/intents"
	"coxswain/prompts"
	"coxswain/timeline"
)

// answered are the callouts that are orders and whose answer is not a read-back
// of their own.
var answered = map[timeline.Kind]bool{
	timeline.Undo: true, timeline.Backdate: true, timeline.CorrectEnergy: true, timeline.SayAgain: true, timeline.Confirm: true,
	timeline.CausesReview: true,
}

// The table of kinds, the vocabulary and the sentences are one: whatever can be
// said is a row, every row can be said, and every callout has an answer of its
// own, not the "Copied" that is kept for a site's additions.
func TestKindsVocabularyAndCuesAgree(t *testing.T) {
	_, v := testConf(t)
	voice, err := prompts.NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	said := map[timeline.Kind]bool{}
	for _, callout := range v.Callouts {
		k := timeline.Kind(callout.ID)
		said[k] = true
		family, _ := k.Family()
		if !k.IsCallout() || family == "drug." && k.Row().Spoken == "" {
			t.Errorf("the vocabulary's %s has no row in kinds.yaml", k)
		}
		if answered[k] || strings.HasPrefix(callout.ID, "ask.") || family == "correct.drug." {
			continue
		}
		if got := voice.Sentence(timeline.Cue{ID: "said." + callout.ID, Values: slotsOf(callout)}); got == "Copied" || got == "" {
			t.Errorf("%s has no read-back in cues.yaml: %q", k, got)
		}
	}
	for _, k := range timeline.Callouts {
		if !said[k] {
			t.Errorf("%s of kinds.yaml has no phrase in the vocabulary", k)
		}
		if name := k.Row().Spoken; !k.Row().Control && voice.Sentence(timeline.Cue{ID: "undone", Items: []string{name}}) == "Taken back" {
			t.Errorf("%s: its spoken name %q is no item of cues.yaml", k, name)
		}
	}
}

// What coxswain asked stands in a record in words, never by the id of its sentence.
func TestQuestionsHaveWords(t *testing.T) {
	for _, c := range ownSentences(t) {
		id, _, _ := strings.Cut(strings.TrimSuffix(c.ID, ".first"), ".said_") // forms of one question
		asks := strings.HasPrefix(id, "question.") || strings.HasPrefix(id, "hear.")
		if asks && id != "question.backdate" && timeline.Asked(id) == id {
			t.Errorf("%s stands in no words in kinds.yaml's questions", id)
		}
	}
}

// slotsOf gives a callout's numbers a value each, as a phrase would.
func slotsOf(c intents.Callout) map[string]float64 {
	for _, p := range c.Phrases {
		if _, rest, ok := strings.Cut(p, "{"); ok {
			name, _, _ := strings.Cut(rest, "}")
			return map[string]float64{name: 2}
		}
	}
	return nil
}

// Every drug that a protocol doses is a row of its own, so that it has a name
// to be spoken, a lane and, where there is one, a code.
func TestProtocolDrugsAreKinds(t *testing.T) {
	rows := map[timeline.Kind]bool{}
	for _, k := range timeline.Callouts {
		rows[k] = true
	}
	for _, id := range timeline.Protocols() {
		p, err := timeline.LoadProtocol(id)
		if err != nil {
			t.Fatal(err)
		}
		for drug := range p.Drugs {
			if drug = strings.TrimSuffix(drug, "_infusion"); !rows[timeline.Kind("drug."+drug)] {
				t.Errorf("%s: drug %s is no row of kinds.yaml", id, drug)
			}
		}
	}
}

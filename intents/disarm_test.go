package intents

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// laid loads the vocabulary with an overlay of this text.
func laid(t *testing.T, text string) (*Vocabulary, error) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "ours.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return LoadVocabulary(file)
}

// A site's overlay cannot take away what keeps a word from being logged: it is refused where it stands.
func TestOverlaysThatDisarm(t *testing.T) {
	refuses(t, []refusal{
		{"callouts:\n  - {id: death, phrases: [\"yes\"]}", 2, "answers a question"},
		{"callouts:\n  - {id: rosc, phrases: [got him back]}\n  - {id: death, phrases: [affirmative]}", 3, "answers a question"},
		{"replace: true\ncallouts:\n  - {id: death, phrases: [\"yes\"]}", 3, "answers a question"},
		{"callouts:\n  - {id: shock.given, phrases: [okay team]}", 2, "stands around callouts"},
		{"callouts:\n  - {id: shock.given, phrases: [never]}", 2, "stands around callouts"},
		{"around:\n  beside:\n    - cheerio\n    - not\n", 4, "cannot mean nothing"},
		{"around:\n  beside: [no, not, never]", 2, "cannot mean nothing"},
		{"around:\n  when: [maybe]", 2, "cannot mean nothing"},
		{"around:\n  opens: [not]", 2, "cannot mean nothing"},
		{"around:\n  openers: [epinephrine]", 2, "would be lost"},
		{"around:\n  forbid:\n    negation: [given, delivered, compressions]", 3, "no callout beside it"},
		{"around:\n  behind:\n    order: [by the porter, joules]", 3, "no callout beside it"},
		{"around:\n  forbid:\n    order: [the]", 3, "no callout beside it"},
		{"lead_word: epinephrine\nlead_all: true", 1, "choose a word"},
		{"lead_all: true\nlead_word: dear epinephrine", 2, "choose a word"},
		{"lead_word: [timekeeper]", 1, "want a word"},
		{"callouts:\n  - {id: rosc, phrases: [\"pulse of {beeps}\"]}", 2, "unknown slot"},
		{"callouts:\n  - {id: shock.given, phrases: [shock not given]}", 2, "has \"not\" in it"},
		{"callouts:\n  - {id: shock.given, phrases: [no shock]}", 2, "has \"no\" in it"},
		{"callouts:\n  - {id: shock.given, phrases: [is the shock in]}", 2, "in it (question)"},
		{"callouts:\n  - {id: drug.epinephrine, phrases: [draw up epinephrine]}", 2, "in it (order)"},
		{"callouts:\n  - {id: confirm, phrases: [not sure]}", 2, "has \"not\" in it"},
		{"callouts:\n  - {id: confirm, phrases: [yes yes]}", 2, "nothing but answers"},
		{"callouts:\n  - {id: death, phrases: [call it now], answers: [\"yes\"]}", 2, "is built in"},
		{"callouts:\n  - {id: death, phrases: [time]}", 2, "is one word"},
		{"callouts:\n  - {id: code.end, phrases: [compressions]}", 2, "is one word"},
		{"callouts:\n  - {id: death, phrases: [compression started]}", 2, "but for a letter"},
		{"callouts:\n  - {id: drug.amiodarone, phrases: [adrenalin given]}", 2, "but for a letter"},
		{"callouts:\n  - {id: death, confidence: 0.01, phrases: [gone for good]}", 2, "unheard, or never"},
		{"callouts:\n  - {id: undo, confidence: 1, phrases: [roll it back]}", 2, "unheard, or never"},
		{"around:\n  when: [given]", 2, "nor a time"},
		{"around:\n  beside: [stop]", 2, "nor a time"},
		{"around:\n  beside: [have not been]", 2, "cannot mean nothing"},
		{"callouts:\n  - {id: drug.epinephrine, phrases: [epinephrine]}", 2, "is one word, said in"},
		{"lead_all: false\npronunciations:\n  amiodarone: [EH P IY]", 3, "would sound as \"epi\""},
	})
}

// Nor may it take numbers that are not believed, or ask nothing where a slip is built in.
func TestOverlaysThatWiden(t *testing.T) {
	refuses(t, []refusal{
		{"slots:\n  dose_mg: {min: 0.01, max: 9999}", 2, "want within 0.01 to 2000"},
		{"slots:\n  beats:\n    {min: 20, max: 120}", 3, "want within 100 to 120"},
		{"slots:\n  dose_mg: {min: 1, max: 20, units: {micrograms: 1}}", 2, "units map[micrograms:1]"},
		{"slots:\n  dose_mg: {min: 1, max: 20, units: {}}", 2, "units map[]"},
		{"slots:\n  shocks: {min: 1, max: 20, step: 0.5}", 2, "step 0.5, want 1"},
		{"slots:\n  dose_mg: {unit: micrograms, min: 1, max: 20}", 2, "want \"milligrams\""},
		{"slots:\n  dose_mg: {min: 1, max: 20, most: 7}", 2, "unknown key \"most\""},
		{"slots:\n  dose_mg: {min: 1, max: 20}\n  ours: {min: 7, max: 3}", 3, "want 0 <= min"},
		{"callouts:\n  - {id: drug.epinephrine, phrases: [jolly drops in], max: {dose_mg: 100}}", 2, "want at most 20"},
		{"replace: true\ncallouts:\n  - {id: drug.epinephrine, phrases: [\"epi {dose_mg}\"], max: {dose_mg: 100}}", 3, "at most 20"},
		{"callouts:\n  - {id: shock.given, phrases: [zapped], max: {energy_j: 900}}", 2, "want at most 400"},
		{"around:\n  slips:\n    - {heard: have a pulse, meant: had a pulse, near: 0.01}", 3, "want at least 3.5"},
		{"around:\n  slips:\n    - {heard: shock in, meant: shocking, near: 0.001}", 3, "want at least 0.1"},
		{"around:\n  slips:\n    - {heard: have a pulse, meant: had a pulse, near: 6}\n    - {heard: shock in, meant: shocking}", 0, ""},
	})
}

// What a site needs is taken.
func TestOverlaysThatAdd(t *testing.T) {
	refuses(t, []refusal{
		{"slots:\n  dose_mg: {min: 0.05, max: 50}\n  ours: {min: 1, max: 9000}", 0, ""},
		{"callouts:\n  - {id: drug.epinephrine, phrases: [jolly drops in], max: {dose_mg: 5}}", 0, ""},
		{"callouts:\n  - {id: word.yes, phrases: [\"yes\"]}\n  - {id: word.stop, phrases: [stop]}", 0, ""},
		{"callouts:\n  - {id: word.yes, new: true, phrases: [\"yes\"]}", 2, "answers a question"},
		{"callouts:\n  - {id: undo, phrases: [undo it now]}", 0, ""},
		{"callouts:\n  - {id: room.ready, new: true, phrases: [room is ready, not today]}", 0, ""},
		{"callouts:\n  - {id: pulse.absent, phrases: [no pulse at all]}\n  - {id: death, confidence: 0.7, phrases: [we call it]}", 0, ""},
		{"callouts:\n  - {id: shock.given, phrases: [\"zapped {n}\", zapped]}", 0, ""},
		{"lead_word: timekeeper\nlead_all: true", 0, ""},
		{"around:\n  beside: [cheerio]\n  forbid: {order: [let us think about, not]}\n  openers: [look]", 0, ""},
	})
}

// refusal is an overlay, and the line of what is refused in it and why; 0: it is taken.
type refusal struct {
	text string
	line int
	want string
}

func refuses(t *testing.T, all []refusal) {
	t.Helper()
	for _, c := range all {
		_, err := laid(t, c.text)
		at := fmt.Sprintf("ours.yaml:%d: ", c.line)
		if (c.line == 0) != (err == nil) || err != nil && (!strings.Contains(err.Error(), at) || !strings.Contains(err.Error(), c.want)) {
			t.Errorf("%q: %v, want %s%s", c.text, err, at, c.want)
		}
	}
}

// No error names a line that the file does not have.
func TestErrorsNameLinesOfTheFile(t *testing.T) {
	for _, text := range []string{"callouts:\n  - {id: shock.given, phrases: [\"zapped {bolts}\"]}", "callouts: [", "callouts:\n\t- x",
		"x: {",
		"callouts:\n  - {id: rosc, phrases: [zzyzxian]}", "talk: [\"\"]", "around: {slips: [{}]}", "around: {beside: [7]}",
		"slots: {x: {min: 2}}",
		"callouts:\n  - {id: rosc}", "either: [{}]", "pronunciations: {x: [QQ]}", "callouts:\n  - {id: rosc, phrases: [a b, \"{dose_mg\"]}"} {
		_, err := laid(t, text)
		if err == nil {
			t.Errorf("%q is taken", text)
			continue
		}
		var line int
		_, rest, _ := strings.Cut(err.Error(), "ours.yaml:")
		fmt.Sscanf(rest, "%d", &line)
		if n := strings.Count(text, "\n") + 1; line > n {
			t.Errorf("%q has %d lines: %v", text, n, err)
		}
	}
}

// A site's narrower bounds hold, and what it leaves out stays as it is built in: in the place of a callout too.
func TestBoundsOfAnOverlay(t *testing.T) {
	for _, c := range []struct {
		text   string
		id     string
		most   float64 // milligrams that are a dose
		micros bool    // micrograms are some
	}{
		{"slots:\n  dose_mg: {min: 0.05, max: 50}", "drug.atropine", 30, true},
		{"slots:\n  dose_mg: {min: 0.05, max: 12}", "drug.epinephrine", 12, true},
		{"callouts:\n  - {id: drug.epinephrine, phrases: [jolly drops in], max: {dose_mg: 5}}", "drug.epinephrine", 5, true},
		{"callouts:\n  - {id: drug.epinephrine, phrases: [jolly drops in], max: {minutes: 5}}", "drug.epinephrine", 20, true},
		{"replace: true\ncallouts:\n  - {id: drug.epinephrine, phrases: [\"epi {dose_mg} milligrams\"]}", "drug.epinephrine", 20, true},
	} {
		v, err := laid(t, c.text)
		if err != nil {
			t.Fatal(err)
		}
		s := v.SlotOf(v.Find(c.id), "dose_mg")
		if s.Max != c.most || (s.Units["micrograms"] == 0.001) != c.micros {
			t.Errorf("%q: at most %v of %s, by the microgram: %v", c.text, s.Max, c.id, s.Units)
		}
	}
}

package intents

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every way to say a whole number is read back as that number.
func TestSayNumber(t *testing.T) {
	var say func(e Expr) []string
	say = func(e Expr) (out []string) {
		switch e.Op {
		case Word:
			return []string{e.Text}
		case Alt:
			for _, k := range e.Kids {
				out = append(out, say(k)...)
			}
			return out
		}
		out = []string{""}
		for _, k := range e.Kids {
			var next []string
			for _, a := range out {
				for _, b := range say(k) {
					next = append(next, a+" "+b)
				}
			}
			out = next
		}
		return out
	}
	for n := 1; n < 1000; n++ {
		for _, text := range say(SayNumber(n)) {
			if got, err := ParseNumber(strings.Fields(text)); err != nil || got != float64(n) {
				t.Errorf("%d is said %q, which is read as %v, %v", n, text, got, err)
			}
		}
	}
	if got := say(SayNumber(120)); len(got) != 5 {
		t.Errorf("120 is said in %d ways: %q", len(got), got)
	}
}

func TestParseNumber(t *testing.T) {
	for text, want := range map[string]float64{"two hundred": 200, "one hundred twenty": 120, "one point five": 1.5,
		"one twenty": 120, "three sixty": 360,
		"one hundred and five": 105, "a hundred": 100, "zero point two five": .25, "eighteen": 18, "point five": .5} {
		if got, err := ParseNumber(strings.Fields(text)); err != nil || got != want {
			t.Errorf("%q is %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "hundred", "one two", "point", "twenty thirty", "five hundred hundred", "hello"} {
		if got, err := ParseNumber(strings.Fields(text)); err == nil {
			t.Errorf("%q is taken for %v", text, got)
		}
	}
}

// A phrase is said whole or not at all: the number is not lost to a shorter one.
func TestValuesOfTheWholePhrase(t *testing.T) {
	v := builtin(t)
	phrases, err := v.Compile()
	if err != nil {
		t.Fatal(err)
	}
	fit := map[string][]float64{}
	for _, p := range phrases {
		if p.Talk() || p.Callout.ID != "shock.given" {
			continue
		}
		for _, said := range []string{"shock delivered", "shock delivered two hundred joules", "shock delivered two hundred joules twice"} {
			if values, err := v.Values(p, strings.Fields(said)); err == nil {
				fit[said] = append(fit[said], values["energy_j"])
			}
		}
	}
	if len(fit) != 2 || len(fit["shock delivered"]) != 1 || len(fit["shock delivered two hundred joules"]) != 1 ||
		fit["shock delivered two hundred joules"][0] != 200 {
		t.Errorf("phrases that fit, by their number: %v", fit)
	}
}

func TestOverlayErrors(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"empty", "", "v.yaml:1: the vocabulary is empty"},
		{"unknown beside known", "callouts:\n  - {id: undo, phrases: [take it back]}\n  - {id: undoo, phrases: [x]}\n",
			`v.yaml:3: unknown callout "undoo"`},
		{"no phrases", "callouts:\n  - id: undo\n", "v.yaml:2: callout undo has no phrases"},
		{"digits", "callouts:\n  - {id: undo, phrases: [undo 2]}\n", `write "2" in letters`},
		{"bad phone", "pronunciations:\n  xyz: [QQ]\ncallouts:\n  - {id: undo, phrases: [xyz]}\n",
			`v.yaml:2: pronunciation of "xyz": unknown phone "QQ"`},
		{"unknown slot", "callouts:\n  - {id: undo, phrases: [\"undo {dose}\"]}\n", "unknown slot {dose}"},
		{"digits in talk", "talk:\n  - is there a pulse\n  - give him 2\n", `v.yaml:3: talk: phrase "give him 2": write "2" in letters`},
		{"a word of talk that nobody can say", "talk:\n  - zzyx blorft\n", "v.yaml:2: talk: "},
		{"talk with an unknown slot", "talk: [\"give {dose}\"]\n", "v.yaml:1: talk: unknown slot {dose}"},
		{"a callout as talk", "talk: [rhythm check]\n", `v.yaml:1: talk: "rhythm check" is a phrase of rhythm.check`},
		{"a word around that nobody can say", "around: {forbid: {negation: [zzyx]}}\n",
			`v.yaml:1: around: negation: no pronunciation for "zzyx"`},
		{"a number around", "around: {beside: [\"{dose_mg}\"]}\n", "v.yaml:1: around: beside:"},
		{"an unknown part of around", "around: {besides: [okay]}\n", `v.yaml:1: unknown key "besides"`},
		{"a number that begins a sentence", "around:\n  openers: [we,\n    \"42\"]\n", `v.yaml:3: around: openers: "42"`},
		{"two words for a verb", "around:\n  verbs:\n    - get back\n", `v.yaml:3: around: verbs: "get back": want one word`},
		{"a slip that nobody can say", "around:\n  slips:\n    - {heard: have, meant: zzyx}\n",
			`v.yaml:3: around: slips: no pronunciation for "zzyx"`},
		{"a slip that is none", "around:\n  slips: [{heard: Have, meant: have}]\n", `v.yaml:2: around: slips: "have" is heard and meant`},
		{"a slip that all fits", "around:\n  slips: [{heard: have, meant: had, near: 99}]\n", `v.yaml:2: around: slips: near is 99`},
		{"a form of two words", "around:\n  forms:\n    - {order: carry on, past: carried, doing: carrying}\n",
			`v.yaml:3: around: forms: "carry on": want one word`},
		{"an opening that nobody can say", "around:\n  openings: [{said: we have, meant: zzyx}]\n",
			`v.yaml:2: around: openings: no pronunciation for "zzyx"`},
		{"an opening that takes a callout away", "around:\n  openings:\n    - {said: hold, meant: resume}\n",
			`v.yaml:3: around: openings: "resume compressions" is a phrase of compressions.start and would be lost`},
		{"an unknown part of a form", "around:\n  forms: [{order: stop, was: stopped}]\n", `v.yaml:2: unknown key "was" in a form`},
		{"an auxiliary of two words", "around: {auxiliaries: [has been]}\n", `v.yaml:1: around: auxiliaries: "has been": want one word`},
		{"an either of one", "either:\n  - [undo]\n", `v.yaml:2: either: want two callouts or more`},
		{"an either of nothing", "either:\n  - [undo, note]\n  - [undo, nought]\n", `v.yaml:3: either: unknown callout "nought"`},
		{"an unknown part of a slip", "around:\n  slips: [{heard: have, mean: had}]\n", `v.yaml:2: unknown key "mean" in a slip`},
		{"a bound of nothing", "callouts:\n  - {id: undo, phrases: [undo it], max: {dose_mg: 0}}\n",
			"v.yaml:2: callout undo: max of dose_mg is 0"},
		{"one phrase for two callouts", "callouts:\n  - {id: undo, phrases: [shock delivered]}\n", `v.yaml:2: "shock delivered" is said for`},
		{"a word of any sentence", "callouts:\n  - {id: confirm, phrases: [the]}\n", `v.yaml:2: "the" stands in any sentence`},
		{"unknown key", "callout: []\n", `v.yaml:1: unknown key "callout"`},
	} {
		path := filepath.Join(t.TempDir(), "v.yaml")
		os.WriteFile(path, []byte(c.text), 0o600)
		_, err := LoadVocabulary(path)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

func TestOverlays(t *testing.T) {
	load := func(text string) *Vocabulary {
		path := filepath.Join(t.TempDir(), "v.yaml")
		os.WriteFile(path, []byte(text), 0o600)
		v, err := LoadVocabulary(path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := v.Compile(); err != nil {
			t.Fatal(err)
		}
		return v
	}
	if v := load("callouts: [{id: word.up, phrases: [up]}, {id: word.on, phrases: [\"on\"]}]"); !v.Alone || len(v.Callouts) != 2 {
		t.Errorf("ids of its own: alone %v, %d callouts", v.Alone, len(v.Callouts))
	}
	if v := load("replace: true\ncallouts: [{id: shock.charging, phrases: [\"charging to {n}\"]}]"); len(v.Callouts) != 1 ||
		v.Callouts[0].Phrases[0] != "charging to {energy_j}" {
		t.Errorf("replace: %+v", v.Callouts)
	}
	if v := load("callouts: [{id: undo, phrases: [take it back]}]"); v.Alone ||
		v.Find("undo").Phrases[len(v.Find("undo").Phrases)-1] != "take it back" {
		t.Error("an added phrase is not there")
	}
	base := load("callouts: [{id: undo, phrases: [take it back]}]").Talk
	if v := load("talk: [\"Is the coffee ready?\"]"); v.Alone || len(v.Talk) != len(base)+1 ||
		v.Talk[len(base)].Text != "is the coffee ready" {
		t.Errorf("talk: %+v", v.Talk)
	}
}

// A site adds to the words around callouts and takes none away; a bound of a callout
// holds for its numbers and for no other's; contractions are said as their parts.
func TestAroundAndBounds(t *testing.T) {
	path := filepath.Join(t.TempDir(), "v.yaml")
	os.WriteFile(path, []byte("around: {beside: [Howdy], forbid: {order: [fetch]}, behind: {elsewhere: [upstairs]}}\n"), 0o600)
	v, err := LoadVocabulary(path)
	if err != nil {
		t.Fatal(err)
	}
	words, err := v.Surround()
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]string{}
	for _, w := range words {
		found[w.Text] = w.Reason + "!"
		if w.Behind {
			found[w.Text] = w.Reason + " behind"
		}
	}
	for w, reason := range map[string]string{"howdy": "!", "please": "!", "fetch": "order!", "not": "negation!",
		"upstairs": "elsewhere behind", "with compressions": "negation behind",
		"who": "question!", "if": "condition!"} {
		if found[w] != reason {
			t.Errorf("%q stands for %q, want %q", w, found[w], reason)
		}
	}
	epi := Phrase{Callout: v.Find("drug.epinephrine"), Parts: []Part{{Slot: "dose_mg"}}}
	if _, err := v.Values(epi, strings.Fields("three nineteen")); err == nil {
		t.Error("319 mg of epinephrine are believed")
	}
	if got, err := v.Values(Phrase{Callout: v.Find("drug.amiodarone"), Parts: epi.Parts},
		strings.Fields("three hundred")); err != nil || got["dose_mg"] != 300 {
		t.Errorf("300 mg of amiodarone: %v, %v", got, err)
	}
	for word, want := range map[string]string{"epi's": "EH P IY Z", "tube's": "T UW B Z", "airway's": "EH R W EY Z"} {
		if p, err := v.Pronounce(word); err != nil || strings.Join(p[0], " ") != want {
			t.Errorf("%q is said %v, %v", word, p, err)
		}
	}
}

// A plug-in is sent the whole vocabulary.
func TestVocabularyTravelsAsJSON(t *testing.T) {
	v := builtin(t)
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var got Vocabulary
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	want, _ := v.Compile()
	phrases, err := got.Compile()
	if err != nil || len(phrases) != len(want) || !phrases[len(phrases)-1].Talk() || phrases[0].Talk() {
		t.Errorf("%d of %d phrases arrived, %v", len(phrases), len(want), err)
	}
}

func FuzzVocabulary(f *testing.F) {
	f.Add([]byte("callouts: [{id: undo, phrases: [take it back]}]"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if v, err := ParseVocabulary("x", b); err == nil {
			v.Compile()
		}
	})
}

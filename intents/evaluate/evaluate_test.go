package evaluate

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coxswain/intents"
)

// A result counts for the utterance that its middle lies in; one that is left
// over was invented.
func TestCompare(t *testing.T) {
	ref := []said{
		{callout: "rhythm.check", start: 1, end: 2},
		{callout: "shock.given", start: 3, end: 4, values: map[string]float64{"energy_j": 200}},
		{callout: "undo", start: 5, end: 6},
		{callout: "", text: "get the epi ready", start: 7, end: 8},
		{callout: "note", start: 9, end: 10},
		{callout: "shock.given", start: 11, end: 13}, {callout: "compressions.start", start: 11, end: 13}, // in one breath
		{callout: "rosc", start: 14, end: 15}, {callout: "pulse.present", start: 14, end: 15}, // of which one was missed
	}
	var got tally
	got.compare(ref, []Heard{
		{Callout: "rhythm.check", StartS: 1, EndS: 2, DecidedS: 2.3},
		{Callout: "shock.given", StartS: 3, EndS: 4, Values: map[string]float64{"energy_j": 120}},
		{Callout: "drug.epinephrine", StartS: 7, EndS: 8},
		{Callout: "note", StartS: 9, EndS: 10, DecidedS: 10.1},
		{Callout: "shock.given", StartS: 11, EndS: 12},
		{Callout: "compressions.start", StartS: 12, EndS: 13},
		{Callout: "rosc", StartS: 14, EndS: 14.5},
		{Callout: "rosc", StartS: 20, EndS: 21},
	}, io.Discard)
	if got.callouts != 6 || got.right != 3 || got.wrong != 2 || got.missed != 1 || got.near != 1 || got.nearTaken != 1 || got.invented != 1 {
		t.Errorf("%+v", got)
	}
}

// What a team took back does not stand at the end, right or wrong.
func TestStands(t *testing.T) {
	ref := []said{{callout: "rhythm.check", start: 1, end: 2}, {callout: "", start: 3, end: 4},
		{callout: "undo", start: 5, end: 6}, {callout: "", start: 7, end: 8}}
	var got tally
	got.compare(ref, []Heard{
		{Callout: "rhythm.check", StartS: 1, EndS: 2},
		{Callout: "rosc", StartS: 3, EndS: 4}, // wrong, and taken back
		{Callout: "undo", StartS: 5, EndS: 6},
		{Callout: "pulse.lost", StartS: 7, EndS: 8}, // wrong, and left
	}, io.Discard)
	if got.standing != 1 || got.nearTaken != 2 {
		t.Errorf("%d stand, %d near misses taken", got.standing, got.nearTaken)
	}
}

// Every result comes once, the files in their order, whatever hears them side by side.
func TestListenKeepsTheOrder(t *testing.T) {
	var files []string
	for _, name := range []string{"b.wav", "a.wav", "c.wav"} {
		files = append(files, silence(t, name))
	}
	open := func() (intents.Ear, error) {
		return intents.Inline{Recogniser: &intents.Scripted{Results: []intents.Result{{Callout: "undo", Start: 100, End: 1600,
			Decided: 3200}}}}, nil
	}
	var got []string
	err := Listen(files, 2, open, func(h Heard) {
		got = append(got, filepath.Base(h.File))
		if h.EndS != 0.1 || h.DecidedS != 0.2 {
			t.Errorf("%+v", h)
		}
	})
	if err != nil || strings.Join(got, " ") != "b.wav a.wav c.wav" {
		t.Errorf("%v, %v", got, err)
	}
}

func TestReferenceErrors(t *testing.T) {
	for text, want := range map[string]string{
		"a.wav\tclean\t1\t2\tundo\n":                "ref.tsv:1: want 7 columns",
		"a.wav\tclean\tone\t2\tundo\tundo that\t\n": "ref.tsv:1: start_s and end_s must be numbers",
		"a.wav\tclean\t1\t2\tundo\tx\tenergy_j\n":   "ref.tsv:1: values: want slot=number",
		"other.wav\tclean\t1\t2\tundo\tx\t\n":       "names none of the files",
	} {
		ref := filepath.Join(t.TempDir(), "ref.tsv")
		os.WriteFile(ref, []byte(text), 0o600)
		err := Measure(io.Discard, io.Discard, []string{silence(t, "a.wav")}, 1, ref, []Recogniser{{Name: "none"}})
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

// silence is a recording of a second of nothing.
func silence(t *testing.T, name string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	head := []byte("RIFF\x24\x7d\x00\x00WAVEfmt " +
		"\x10\x00\x00\x00\x01\x00\x01\x00\x80\x3e\x00\x00\x00\x7d\x00\x00\x02\x00\x10\x00data\x00\x7d\x00\x00")
	if err := os.WriteFile(path, append(head, make([]byte, 2*intents.Rate)...), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

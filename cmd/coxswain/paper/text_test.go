package paper

import (
	"bytes"
	"strings"
	"testing"
	"unicode/utf8"

	"coxswain/timeline"
)

// The timeline fits 100 columns, whatever was said and called; no word is lost.
func TestTimelineFits(t *testing.T) {
	long := strings.Repeat("Hypovolemia, hypoxia, äöü ", 12) + strings.Repeat("x", 150)
	events := []timeline.Event{{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{}}, {Seq: 2, At: 1e8, Kind: timeline.CodeStart},
		{Seq: 1234, At: 1.2e8, Kind: timeline.CueSpoken, Cue: "answer.causes", Sentence: long},
		{Seq: 12345, At: 3.4e8, Kind: timeline.Epinephrine, Values: map[string]float64{"dose_mg": 1},
			Heard: &timeline.Heard{Text: long, Confidence: 1}, Amend: &timeline.Amendment{By: "ABCDEFGH", Reason: long}}}
	var out bytes.Buffer
	if err := Timeline(&out, events, true, strings.Repeat("caution ", 20)); err != nil {
		t.Fatal(err)
	}
	for _, l := range strings.Split(out.String(), "\n") {
		if n := utf8.RuneCountInString(strings.TrimRight(l, " ")); n > Columns {
			t.Errorf("%d columns: %s", n, l)
		}
	}
	if n := strings.Count(out.String(), "hypoxia"); n != 36 { // said, heard, and the reason
		t.Errorf("%d of 36 words are printed:\n%s", n, out.String())
	}
	for _, id := range []string{"session.open", "code.start", "answer.causes", "dose_mg"} {
		if strings.Contains(out.String(), id) {
			t.Errorf("it prints %s, which is no word:\n%s", id, out.String())
		}
	}
	for text, want := range map[string]int{"": 1, "a b c": 1, "aaaa bbbb cccc": 3, "aaaaaaaaaa": 2, "ab aaaaaaaaaa": 3} {
		if got := wrap(text, 5); len(got) != want {
			t.Errorf("%q is wrapped into %q, want %d lines", text, got, want)
		}
	}
}

package acoustic

import (
	"strings"
	"testing"

	"coxswain/intents"
)

// A word that answers a question is heard, however short, and forbids nothing that it is itself.
func TestAnswersAreHeard(t *testing.T) {
	const settles = 0.25 // confidence from which an answer settles a question: see decide
	for _, c := range [][2]string{
		{"no.", "refuse"},
		{"negative.", "refuse"},
		{"affirmative.", "confirm"},
		{"confirm.", "confirm"},
		{"that's right.", "confirm"},
	} {
		r := listener(t, nil)
		r.(intents.Candid).LeaveOpen()
		got, err := r.Hear(speak(t, c[0]))
		if err != nil {
			t.Fatal(err)
		}
		ok := false
		for _, x := range got {
			ok = ok || x.Callout == c[1] && x.Forbidden == "" && x.Confidence >= settles
		}
		if !ok {
			t.Errorf("%q is no %s: %+v", c[0], c[1], got)
		}
	}
}

// Another callout may stand behind an "and", and a number that was cut off is none.
func TestAroundACallout(t *testing.T) {
	for said, want := range map[string]string{
		"amiodarone is in and back on the chest.": "drug.amiodarone compressions.start",
		"charging to two, no, three hundred.":     "",
	} {
		r := listener(t, nil)
		r.(intents.Candid).LeaveOpen() // as a session listens
		heard, err := r.Hear(speakAs(t, "kal16", said))
		if err != nil {
			t.Fatal(err)
		}
		var ids []string
		for _, r := range heard {
			if r.Confidence >= r.Need && r.Forbidden == "" {
				ids = append(ids, r.Callout)
			}
		}
		if got := strings.Join(ids, " "); got != want {
			t.Errorf("%q: heard %q, want %q", said, got, want)
		}
	}
}

// The beginning of "two hundred joules" must be surer than a whole number.
func TestDigitOfALargeNumber(t *testing.T) {
	energy := &intents.Callout{Usual: []float64{120, 150, 200}}
	adenosine := &intents.Callout{Usual: []float64{6, 12, 18}}
	for _, c := range []struct {
		of   *intents.Callout
		x    float64
		want float64
	}{{energy, 2, digitNeed}, {energy, 200, 0}, {energy, 100, 0}, {adenosine, 3, 0}, {adenosine, 6, 0}} {
		if got := unusual(c.of, map[string]float64{"x": c.x}); got != c.want {
			t.Errorf("%v of %v needs %v, want %v", c.x, c.of.Usual, got, c.want)
		}
	}
}

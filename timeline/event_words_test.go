package timeline

import (
	"math"
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

// A pressure is written as it is called, systolic first; a name is not told twice.
func TestNumbersInWords(t *testing.T) {
	for _, c := range []struct {
		kind   Kind
		values map[string]float64
		want   string
	}{
		{"measured.pressure", map[string]float64{"systolic_mmhg": 80, "diastolic_mmhg": 40}, "blood pressure, 80/40 mmHg"},
		{"measured.ph", map[string]float64{"ph": 6.9}, "pH 6.9"},
		{ShockGiven, map[string]float64{"energy_j": 200}, "shock given, 200 J"},
		{"backdate", map[string]float64{"minutes": 2}, "moved back, minutes 2"},
		{"backdate", map[string]float64{"minutes": 10. / 60}, "moved back, minutes 0:10"},
		{"backdate", map[string]float64{"minutes": 76. / 60}, "moved back, minutes 1:16"},
	} {
		if got := (Event{Kind: c.kind, Values: c.values}).Words(); got != c.want {
			t.Errorf("%s reads %q, want %q", c.kind, got, c.want)
		}
	}
}

// A clock shows whole seconds, before its start with a minus.
func TestClock(t *testing.T) {
	for seconds, want := range map[float64]string{0: "0:00", 76.4: "1:16", 59.6: "1:00", -13: "-0:13", -0.4: "0:00", 7200: "120:00"} {
		if got := Seconds(seconds).Clock(); got != want {
			t.Errorf("%g s: %s, want %s", seconds, got, want)
		}
	}
	if got := Time(math.MinInt64).Clock(); got != "-0:00" { // it has no opposite
		t.Errorf("the lowest of all: %s", got)
	}
}

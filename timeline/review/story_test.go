package review

import (
	"strings"
	"testing"

	"coxswain/timeline"
	"coxswain/timeline/figures"
)

// call is a callout at a second of the record.
type call struct {
	at   float64
	kind timeline.Kind
}

// told is the story of callouts in a record that lasts so many seconds.
func told(end float64, calls ...call) string {
	var events []timeline.Event
	for i, c := range calls {
		events = append(events, timeline.Event{Seq: uint64(i + 1), At: timeline.Seconds(c.at), Kind: c.kind})
	}
	var out []string
	to := timeline.Seconds(end)
	for _, s := range story(figures.Lay(events, to), seen(events, to), events, to, true) {
		out = append(out, s.String())
	}
	return strings.Join(out, " ")
}

// The story is what a reviewer would say of these codes (invented).
func TestStory(t *testing.T) {
	for _, c := range []struct {
		name string
		end  float64
		call []call
		want string
	}{
		{"nothing", 60, nil, "No code was called in this record."},
		{"two shocks and a pulse", 500, []call{{10, "code.start"}, {13, "compressions.start"}, {40, "rhythm.check"}, {42, "rhythm.vf"},
			{50, "shock.given"}, {53, "compressions.start"}, {90, "drug.epinephrine"}, {170, "rhythm.check"}, {180, "shock.given"},
			{188, "compressions.start"},
			{300, "rosc"}, {330, "code.end"}, {335, "confirm"}},
			"Arrest from the start, compressions after 3 s. First rhythm VF, two shocks from 0:40, epinephrine once at 1:20, " +
				"pulse back at 4:50. Longest pause 18 s at 2:40."},
		{"six drugs and a long pause", 300, []call{{0, "code.start"}, {2, "compressions.start"}, {5, "drug.epinephrine"}, {6, "drug.amiodarone"},
			{7, "drug.calcium"}, {8, "drug.magnesium"}, {9, "drug.atropine"}, {10, "drug.glucose"}, {20, "rhythm.check"},
			{140, "compressions.start"}},
			"Arrest from the start, compressions after 2 s. Epinephrine once at 0:05, amiodarone once at 0:06, " +
				"calcium once at 0:07, magnesium once at 0:08, two other drugs from 0:09, " +
				"still in arrest when the record ends at 5:00. Longest pause 2:00 at 0:20."},
		{"a tachycardia with a pulse", 90, []call{{3, "pulse.present"}, {5, "rhythm.vt"}, {10, "patient.unstable"}, {40, "cardioversion.given"},
			{60, "rhythm.organised"}},
			"No code was called in this record. Unstable VT with a pulse from 0:05, organised with a pulse from 1:00, " +
				"one cardioversion at 0:40."},
		{"a pulse that is lost", 100, []call{{3, "pulse.present"}, {5, "rhythm.vt"}, {10, "patient.unstable"}, {30, "pulse.lost"},
			{32, "compressions.start"}, {45, "shock.given"}, {47, "compressions.start"}, {80, "rosc"}},
			"Arrest after unstable VT with a pulse, compressions after 2 s. One shock at 0:15, pulse back at 0:50. " +
				"Longest pause 2 s at 0:15."},
		{"a shock before a pulse is lost", 200, []call{{3, "pulse.present"}, {5, "rhythm.vt"}, {10, "patient.unstable"},
			{40, "cardioversion.given"}, {120, "pulse.lost"}, {122, "compressions.start"}},
			"Arrest after unstable VT with a pulse, compressions after 2 s. One cardioversion at 1:20 before the arrest, " +
				"still in arrest when the record ends at 1:20. No pause in compressions was called."},
		{"E C M O, not confirmed", 400, []call{{0, "code.start"}, {2, "compressions.start"}, {10, "rhythm.vf"}, {12, "shock.given"},
			{14, "compressions.start"}, {40, "intervention.ecmo"}, {50, "compressions.stop"}, {90, "pulse.present"}, {150, "pulse.absent"},
			{152, "compressions.start"}},
			"Arrest from the start, compressions after 2 s. First rhythm VF, one shock at 0:12, ECMO from 0:40, " +
				"pulse back at 1:30 and lost again, still in arrest when the record ends at 6:40. Longest pause 40 s at 0:50."},
		{"a note", 60, []call{{5, "note"}}, "No code was called in this record."},
		{"a child", 60, []call{{1, "patient.child"}, {5, "code.start"}, {5, "compressions.start"}},
			"A child. Arrest from the start, compressions at once. Still in arrest when the record ends at 0:55. " +
				"No pause in compressions was called."},
		{"a newborn", 60, []call{{1, "patient.newborn"}, {5, "note"}}, "A newborn. No code was called in this record."},
		{"a pregnant patient", 60, []call{{1, "patient.pregnant"}, {5, "note"}}, "A pregnant patient. No code was called in this record."},
		{"nobody compresses", 60, []call{{5, "code.start"}, {20, "rhythm.asystole"}},
			"Arrest from the start, compressions never called. First rhythm asystole, still in arrest when the record ends at 0:55."},
	} {
		if got := told(c.end, c.call...); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}

// What was given at one moment, as all that was given before arrival, is told in one order.
func TestStoryIsTheSameEachTime(t *testing.T) {
	calls := []call{{0, "code.start"}, {2, "compressions.start"}, {5, "drug.magnesium"}, {5, "drug.calcium"}, {5, "drug.atropine"}}
	want := told(60, calls...)
	if !strings.Contains(want, "Atropine once at 0:05, calcium once at 0:05, magnesium") {
		t.Error(want)
	}
	for range 20 {
		if got := told(60, calls...); got != want {
			t.Fatalf("%s\nand then\n%s", want, got)
		}
	}
}

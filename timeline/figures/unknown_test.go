package figures

import (
	"testing"

	"coxswain/timeline"
)

// A team that never calls a pause has no pre-shock pause, and no verdict on the longest:
// nobody can shock with hands on, so it is unknown (Cheskes, Circulation 2011;124:58: from
// the last compression). A rhythm and the shock behind it end one cycle, and the seconds
// to the first look are none.
func TestWhatNobodyCalledIsUnknown(t *testing.T) {
	silent := script(0, "code.start", 3, "compressions.start", 10, "rhythm.vf", 15, "shock.given", 17, "compressions.start",
		137, "rhythm.vf", 140, "shock.given", 142, "compressions.start", 262, "rhythm.vf", 265, "shock.given", 267, "compressions.start",
		360, "rosc")
	var open []any
	for _, e := range silent {
		if e.Kind == timeline.RhythmVF {
			open = append(open, int(e.At.Seconds())-1, "compressions.stop")
		}
		open = append(open, int(e.At.Seconds()), string(e.Kind))
	}
	for _, c := range []struct {
		name   string
		events []timeline.Event
		id     string
		known  bool
		value  float64
		met    string
		told   string // the verdict
	}{
		{"silent", silent, "pre_shock_pause", false, 0, "", ""},
		{"silent", silent, "peri_shock_pause", false, 0, "", ""},
		{"silent", silent, "post_shock_pause", true, 2, "", ""},
		{"silent", silent, "longest_pause", true, 2, "", "not certain"},
		{"silent", silent, "cycle_adherence", true, 1, "", ""},
		{"breaths", script(0, "code.start", 3, "compressions.start", 10, "rhythm.pea"), "compression_fraction", true, 0, "", "not certain"},
		{"hands on, airway", script(0, "code.start", 2, "compressions.start", 60, "airway.secured"),
			"compression_fraction", true, 0, "yes", "met"},
		{"hands off", script(0, "code.start", 60, "compressions.start", 90, "compressions.stop"),
			"compression_fraction", true, 0, "no", "outside"},
		{"nobody looks", script(0, "code.start", 3, "compressions.start"), "cycle_adherence", true, 0, "", ""},
		{"open", script(open...), "pre_shock_pause", true, 4, "yes", "met"},
		{"open", script(open...), "longest_pause", true, 8, "yes", "met"},
		{"open", script(open...), "cycle_adherence", true, 1, "", ""},
		{"open", script(open...), "first_epinephrine", false, 0, "", ""},
		{"shockable", script(0, "code.start", 3, "compressions.start", 10, "rhythm.vf", 20, "drug.epinephrine"), "first_epinephrine", true, 20,
			"", "does not apply"},
		{"not shockable", script(0, "code.start", 3, "compressions.start", 10, "rhythm.pea", 330, "drug.epinephrine"), "first_epinephrine",
			true, 330, "no", "outside"},
		{"no rhythm called", script(0, "code.start", 3, "compressions.start", 330, "drug.epinephrine"), "first_epinephrine",
			true, 330, "", "not certain"},
	} {
		f := figure(t, c.events, 360, c.id)
		if f.Known != c.known || c.value != 0 && f.Value != c.value || f.Met != c.met || f.Verdict != c.told {
			t.Errorf("%s: %s known %v, %v, met %q, %q; want %v, %v, %q, %q", c.name, c.id, f.Known, f.Value, f.Met, f.Verdict,
				c.known, c.value, c.met, c.told)
		}
	}
}

// Pauses that there must have been and that nobody called are counted: before a shock, at a
// look that ends a cycle, and where nobody looked for two cycles.
func TestUnseenPauses(t *testing.T) {
	for name, c := range map[string]struct {
		events []timeline.Event
		want   int
	}{
		"shocks":   {script(3, "compressions.start", 10, "rhythm.vf", 15, "shock.given", 17, "compressions.start", 60, "rosc"), 1},
		"looks":    {script(3, "compressions.start", 10, "rhythm.pea", 125, "rhythm.pea", 245, "rhythm.pea", 300, "rosc"), 2},
		"no looks": {script(3, "compressions.start", 600, "rosc"), 1},
		"one cycle": {script(3, "compressions.start", 10, "rhythm.pea", 125, "compressions.stop", 128, "rhythm.pea",
			130, "compressions.start", 200, "rosc"), 0},
		"called": {script(3, "compressions.start", 9, "compressions.stop", 10, "rhythm.vf", 15, "shock.given",
			17, "compressions.start", 60, "rosc"), 0},
	} {
		if got := Lay(c.events, timeline.End(c.events)).Unseen(); got != c.want {
			t.Errorf("%s: %d unseen, want %d", name, got, c.want)
		}
	}
}

// A rhythm without a pulse is over where one was felt, whatever was not called since; a cycle in which
// nobody looked for too long is no cycle of two minutes.
func TestPulseEndsARhythm(t *testing.T) {
	events := script(0, "code.start", 3, "compressions.start", 10, "rhythm.vf", 20, "shock.given", 22, "compressions.start",
		140, "rhythm.check", 142, "rhythm.vf", 145, "shock.given", 147, "compressions.start", 400, "pulse.present")
	times := map[string]float64{}
	for _, r := range Lay(events, timeline.Seconds(460)).RhythmTimes() {
		times[r.Rhythm] = r.Seconds
	}
	if times["VF"] != 390 || times["pulse"] != 60 {
		t.Errorf("time in each rhythm: %v", times)
	}
	if f := figure(t, events, 460, "cycle_adherence"); f.Value != 0.5 {
		t.Errorf("of two cycles, one of 4 min, %v are of two minutes", f.Value)
	}
}

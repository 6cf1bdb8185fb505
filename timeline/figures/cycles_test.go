package figures

import (
	"strings"
	"testing"

	"coxswain/timeline"
)

// A shock at once, where the arrest or a new one shows a rhythm for it, comes before any cycle of two minutes can have
// been; so does that of a look while hands are back on for as long as it charges ("charge during compressions": ERC
// 2025 ALS, quoted). A shock behind a cycle that was too short is a short cycle all the same.
func TestShockAtOnceIsNoCycle(t *testing.T) {
	fresh := []any{0, "rhythm.vf", 2, "compressions.start", 14, "shock.given", 16, "compressions.start", 136, "rhythm.check",
		138, "rhythm.vf", 140, "shock.given", 142, "compressions.start"}
	with := func(more ...any) []timeline.Event { return script(append(fresh[:len(fresh):len(fresh)], more...)...) }
	for _, c := range []struct {
		name   string
		events []timeline.Event
		known  bool
		value  float64
	}{
		{"fresh", script(fresh[:8]...), false, 0},
		{"fresh, then a cycle", with(), true, 1},
		{"again", with(262, "rhythm.check", 264, "rhythm.organised", 266, "rosc", 400, "pulse.lost", 402, "compressions.start",
			405, "rhythm.vf", 412, "shock.given", 414, "compressions.start"), true, 1},
		{"again, no rhythm called", with(262, "rhythm.check", 266, "rosc", 400, "pulse.lost", 402, "compressions.start",
			412, "shock.given", 414, "compressions.start"), true, 1},
		{"again within seconds", with(262, "rhythm.check", 266, "rosc", 280, "pulse.lost", 281, "compressions.start",
			290, "rhythm.vf", 295, "shock.given", 297, "compressions.start"), true, 1},
		{"charged with hands on", with(262, "rhythm.check", 264, "rhythm.vf", 266, "compressions.start", 276, "shock.given",
			278, "compressions.start"), true, 1},
		{"too short", with(202, "shock.given", 204, "compressions.start"), true, 0.5},
		{"looked too soon", with(180, "rhythm.check", 182, "compressions.start"), true, 0.5},
	} {
		f := figure(t, c.events, c.events[len(c.events)-1].At.Seconds()+60, "cycle_adherence")
		if f.Known != c.known || f.Value != c.value {
			t.Errorf("%s: known %v, %v; want %v, %v", c.name, f.Known, f.Value, c.known, c.value)
		}
	}
}

// What goes by the ratio, the cycles or the pauses of others is told of no newborn, with the reason: none of our
// protocols tells of one.
func TestNoFiguresOfNewborn(t *testing.T) {
	events := script(0, "patient.newborn", 2, "compressions.start", 10, "rhythm.asystole", 60, "drug.epinephrine",
		100, "compressions.stop", 120, "compressions.start", 130, "rhythm.asystole", 240, "drug.epinephrine", 260, "rosc")
	for id := range notOfNewborn {
		if f := figure(t, events, 300, id); f.Known || !strings.Contains(f.Why, "newborn") {
			t.Errorf("%s: known %v, %v, %q", id, f.Known, f.Value, f.Why)
		}
	}
	if f := figure(t, events, 300, "first_epinephrine"); !f.Known || f.Value != 58 {
		t.Errorf("%+v", f)
	}
}

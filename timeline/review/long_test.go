package review

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
)

// crowded are journals of n events in ten minutes, as only somebody writes who means
// harm: by what they crowd.
func crowded(n int) map[string][]timeline.Event {
	names := make([]timeline.Kind, 300)
	for i := range names {
		names[i] = timeline.Kind(fmt.Sprintf("drug.x%d", i))
	}
	out := map[string][]timeline.Event{}
	for name, kinds := range map[string][]timeline.Kind{
		"drugs":      {"drug.epinephrine"},
		"names":      names,
		"shocks":     {timeline.CompressionsStart, timeline.ShockCharging, timeline.ShockGiven},
		"hands":      {timeline.CompressionsStart, timeline.CompressionsStop},
		"cues":       {timeline.CueSpoken, timeline.Question},
		"undone":     {timeline.ShockGiven, timeline.Retraction},
		"unsure":     {timeline.ShockGiven},
		"everything": timeline.Callouts,
	} {
		list := []timeline.Event{{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{Rate: timeline.Rate,
			Wall: "2026-03-01T14:00:00Z"}}, {Seq: 2, Kind: timeline.CodeStart}}
		for i := range n {
			e := timeline.Event{Seq: uint64(i + 3), At: timeline.Seconds(600) * timeline.Time(i) / timeline.Time(n),
				Kind: kinds[i%len(kinds)]}
			if e.Kind == timeline.Retraction {
				e.Retracts = e.Seq - 1
			}
			if name == "unsure" {
				e.Heard = &timeline.Heard{End: e.At, Confidence: 0.5}
			}
			list = append(list, e)
		}
		out[name] = list
	}
	return out
}

// look does all that is ever done with a record.
func look(t testing.TB, events []timeline.Event, defs []figures.Definition) {
	Summarise(events, defs)
	r := Of(events, defs)
	for _, f := range Formats {
		if err := f.Write(r, io.Discard); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := Chart(r, 0); err != nil {
		t.Fatal(err)
	}
}

// Four times the events cost about four times the memory, whatever they crowd, not
// sixteen. Bytes are counted, not seconds: they do not depend on the machine.
func TestCrowdedRecordCostsInStep(t *testing.T) {
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	cost := func(events []timeline.Event) uint64 {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		look(t, events, defs)
		runtime.ReadMemStats(&after)
		return after.TotalAlloc - before.TotalAlloc
	}
	few, many := crowded(1000), crowded(4000)
	for name := range few {
		if a, b := cost(few[name]), cost(many[name]); b > 6*a {
			t.Errorf("%s: 1,000 events take %d MB, 4,000 take %d", name, a>>20, b>>20)
		}
	}
}

// A record that cannot be summarised, whatever the reason, hides no other.
func TestOneBadRecordHidesNoOther(t *testing.T) {
	folder := t.TempDir()
	for _, c := range []struct{ name, journal string }{
		{"empty", ""}, {"nul", "\x00\x00\x00\x00"}, {"nul-line", "\x00\x00\n"}, {"garbage", "{}\n"}, {"no-line", "x"},
	} {
		dir := filepath.Join(folder, c.name)
		os.Mkdir(dir, 0o700)
		os.WriteFile(filepath.Join(dir, record.JournalName), []byte(c.journal), 0o600)
	}
	write := func(name string, s timeline.Session) {
		dir := filepath.Join(folder, name)
		os.Mkdir(dir, 0o700)
		j, err := record.Create(dir)
		if err != nil {
			t.Fatal(err)
		}
		defer j.Close()
		for _, e := range []timeline.Event{{Kind: timeline.SessionOpen, Session: &s}, {Kind: timeline.CodeStart}} {
			if _, err := j.Append(e); err != nil {
				t.Fatal(err)
			}
		}
	}
	const wall = "2026-03-01T14:00:00Z"
	write("good", timeline.Session{Wall: wall, Rate: timeline.Rate})
	write("faulty", timeline.Session{Wall: wall, Rate: timeline.Rate, Software: "faulty"})
	write("no-rate", timeline.Session{Wall: wall})
	write("no-date", timeline.Session{Wall: "0001-01-01T00:00:00Z", Rate: timeline.Rate})
	if err := os.Symlink("shut", filepath.Join(folder, "shut")); err != nil { // as one that may not be looked into
		t.Fatal(err)
	}
	x := NewIndex(folder, nil)
	x.summarise = func(events []timeline.Event, defs []figures.Definition) Summary {
		if events[0].Session.Software == "faulty" {
			panic("index out of range")
		}
		return Summarise(events, defs)
	}
	lines, bad, err := x.Lines()
	if err != nil || len(lines) != 2 || lines[0].Name != "good" || lines[1].Name != "no-date" || len(bad) != 8 {
		t.Fatalf("%v: %+v, left out: %q", err, lines, bad)
	}
	why := strings.Join(bad, "\n")
	if !strings.Contains(why, "faulty: cannot be summarised, which is a fault of coxswain") || !strings.Contains(why, "/shut/") {
		t.Errorf("left out: %s", why)
	}
	for _, d := range []figures.Definition{{ID: "shocks"}} {
		lines[1].Figures, lines[0].Figures = map[string]float64{"shocks": 1}, map[string]float64{"shocks": 2}
		if c := RunChartOf(lines, d); len(c.Months) != 1 || c.Months[0].Month != "2026-03" {
			t.Errorf("a run chart goes back to a date that is none: %+v", c.Months)
		}
	}
}

func BenchmarkCrowdedRecord(b *testing.B) {
	defs, err := figures.Definitions()
	if err != nil {
		b.Fatal(err)
	}
	for name, events := range crowded(100000) {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				look(b, events, defs)
			}
		})
	}
}

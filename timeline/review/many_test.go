package review

import (
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
)

// The worked example of the NIST/SEMATECH e-Handbook of Statistical Methods,
// 6.3.2.2, individuals control charts (values from memory): mean 50.81, limits
// 45.8159 and 55.8041. It divides by d2 = 1.128; 2.66 is 3/1.128 rounded.
func TestLimitsAgainstNIST(t *testing.T) {
	mean, low, high := Limits([]float64{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1})
	if math.Abs(mean-50.81) > 1e-9 || math.Abs(low-45.8159) > 0.002 || math.Abs(high-55.8041) > 0.002 {
		t.Errorf("mean %v, limits %v and %v", mean, low, high)
	}
}

// years makes summaries of so many months, the last of them bad.
func years(months, each int) []Summary {
	r := rand.New(rand.NewPCG(4, 4))
	var out []Summary
	for m := range months {
		for k := range each {
			s := Summary{Name: fmt.Sprintf("r%d-%d", m, k), Path: fmt.Sprintf("records/r%d-%d", m, k),
				Wall: time.Date(2024, time.Month(1+m), 2+k%25, 3, 4, 5, 0, time.UTC), Rhythm: "VF", Outcome: "not called",
				Figures: map[string]float64{"compression_fraction": 0.8 + 0.05*r.NormFloat64()}}
			if m == months-1 {
				s.Figures["compression_fraction"] = 0.4 + 0.01*float64(k)
			}
			if k%3 == 0 {
				s.Figures["first_shock"] = 90 + 10*r.NormFloat64()
			}
			out = append(out, s)
		}
	}
	return out
}

func TestRunChart(t *testing.T) {
	least := 0.8
	fraction := figures.Definition{ID: "compression_fraction", Unit: "1", Benchmark: &figures.Benchmark{Min: &least, Text: "80 % or more"}}
	c := RunChartOf(years(20, 12), fraction)
	if len(c.Months) != 20 || !c.Limits || !c.Months[19].Outside || c.Months[19].Worst[0] != "records/r19-0" {
		t.Errorf("%+v", c)
	}
	for _, m := range c.Months[:15] {
		if m.Outside {
			t.Errorf("%+v lies outside %v to %v", m, c.Low, c.High)
		}
	}
	if RunChartOf(years(5, 3), fraction).Limits {
		t.Error("limits from five months")
	}
	svg, err := DrawRunChart(c, fraction, 0)
	if err != nil || strings.Count(svg, "<circle") != 18 || strings.Count(svg, `width="8" height="8"`) != 2 ||
		strings.Count(svg, "stroke-dasharray") != 4 || !strings.Contains(svg, ">80 % or more<") || !strings.Contains(svg, ">12<") ||
		strings.Count(svg, "m-3 0h6m-3 0v") != 20 || !strings.Contains(svg, ">%<") {
		t.Errorf("%v: a chart of 18 points, a ninth above the mean and one outside, with four levels, each with a spread, is %s", err, svg)
	}
	// Tukey, Exploratory Data Analysis, 1977: both halves have the middle value (from memory).
	for _, c := range []struct{ of, want []float64 }{
		{[]float64{5, 1, 4, 2, 3}, []float64{2, 4}}, {[]float64{4, 1, 3, 2}, []float64{1.5, 3.5}}, {[]float64{7}, []float64{7, 7}},
	} {
		if lower, upper := quartiles(c.of); lower != c.want[0] || upper != c.want[1] {
			t.Errorf("quartiles of %v: %v and %v, want %v", c.of, lower, upper, c.want)
		}
	}
	// A figure that is the same every month has no scale of its rounding.
	same := RunChart{Months: []Month{{Month: "2026-01", Median: 1.0 / 6}, {Month: "2026-02", Median: 1.0/6 + 1e-12}}, Mean: 1.0 / 6}
	if svg, err = DrawRunChart(same, fraction, 0); err != nil || strings.Contains(svg, "16.666") {
		t.Errorf("%v: %s", err, svg)
	}
	textsApart(t, svg)
}

// A month without a record keeps its place in a run chart, with none counted, and no line leads
// across it.
func TestRunChartKeepsEmptyMonths(t *testing.T) {
	list := slices.DeleteFunc(years(14, 3), func(s Summary) bool {
		return s.Wall.Month() >= time.March && s.Wall.Month() <= time.May && s.Wall.Year() == 2024
	})
	d := figures.Definition{ID: "compression_fraction", Unit: "1"}
	c := RunChartOf(list, d)
	svg, err := DrawRunChart(c, d, 1200)
	if err != nil || len(c.Months) != 11 {
		t.Fatalf("%v: %d months with records, want 11", err, len(c.Months))
	}
	if !strings.Contains(svg, ">2024-04<") || strings.Count(svg, ">0<") < 3 {
		t.Errorf("the empty months are not on the axis, with 0 records each: %s", svg)
	}
	line := regexp.MustCompile(`d="(M[0-9. ]+L[0-9. ML]+)"`).FindStringSubmatch(svg)
	if line == nil || strings.Count(line[1], "M") != 2 {
		t.Fatalf("the line is not broken once: %q", line)
	}
	var x []float64
	for _, p := range regexp.MustCompile(`[ML]([0-9.]+) `).FindAllStringSubmatch(line[1], -1) {
		v, _ := strconv.ParseFloat(p[1], 64)
		x = append(x, v)
	}
	if one := x[1] - x[0]; len(x) != 11 || math.Abs(x[2]-x[1]-4*one) > 0.6 {
		t.Errorf("from February to June are %.1f months: %v", (x[2]-x[1])/one, x)
	}
	close, err := DrawRunChart(RunChartOf(years(40, 3), d), d, 300)
	if err != nil || strings.Contains(close, `width="8"`) || !strings.Contains(close, "translate(-") {
		t.Errorf("%v: where months lie close to each other their squares run into one: %s", err, close)
	}
	list[0].Wall = time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC) // a clock that was never set
	svg, err = DrawRunChart(RunChartOf(list, d), d, 1200)
	if err != nil || !strings.Contains(svg, ">1970-01<") || !strings.Contains(svg, ">...<") || strings.Count(svg, "<line") > 100 {
		t.Errorf("%v: one record of 1970 makes %d lines", err, strings.Count(svg, "<line"))
	}
}

// A summary leaves out what is not known and counts what is unsure.
func TestSummarise(t *testing.T) {
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	s := Summarise(sample(t).Events, defs)
	if _, ok := s.Figures["compression_rate"]; ok || s.Unsure != 1 || !s.Amended || s.Rhythm != "VF" ||
		s.Outcome != "return of circulation" || s.Figures["pre_shock_pause"] != 7 {
		t.Errorf("%+v", s)
	}
}

// What was called and taken back whole is no code: it is told so, in the list and in the story.
func TestTakenBackIsNoCase(t *testing.T) {
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	events := []timeline.Event{{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: "2026-03-01T14:00:00Z"}},
		{Seq: 2, At: 10, Kind: timeline.RhythmVF}, {Seq: 3, At: 20, Kind: timeline.Undo},
		{Seq: 4, At: 20, Kind: timeline.Retraction, Retracts: 2}}
	for n, want := range map[int]string{1: "not called", 2: "not called", 4: TakenBack} {
		s, r := Summarise(events[:n], defs), Of(events[:n], defs)
		if s.Outcome != want || (want == TakenBack) != (r.Story[0].String() == "All that was called in this record was taken back.") {
			t.Errorf("of %d events: %q, %q", n, s.Outcome, r.Story[0])
		}
		if codes := (Query{Kind: "code"}).Of([]Summary{s}); (len(codes) == 1) != (want != TakenBack) {
			t.Errorf("of %d events: %d codes", n, len(codes))
		}
	}
}

// BenchmarkSummarise is one record of a typical length.
func BenchmarkSummarise(b *testing.B) {
	var events []timeline.Event
	for k := range 120 {
		at := timeline.Seconds(float64(10 * k))
		events = append(events, timeline.Event{Seq: uint64(k + 1), At: at, Kind: timeline.Callouts[k%28],
			Heard: &timeline.Heard{End: at, Confidence: 0.9}})
	}
	events[0] = timeline.Event{Seq: 1, Kind: timeline.SessionOpen,
		Session: &timeline.Session{Wall: "2026-03-01T14:00:00Z", Rate: timeline.Rate}}
	defs, err := figures.Definitions()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		Summarise(events, defs)
	}
}

// What the tests of Nelson (1984) call no chance is told, and limits stay within
// what a share can be.
func TestSignals(t *testing.T) {
	chart := func(medians ...float64) RunChart {
		var list []Summary
		for i, v := range medians {
			list = append(list, Summary{Wall: time.Date(2024, time.Month(1+i), 3, 0, 0, 0, 0, time.UTC),
				Figures: map[string]float64{"compression_fraction": v}})
		}
		return RunChartOf(list, figures.Definition{ID: "compression_fraction", Unit: "1"})
	}
	level := chart(.5, .9, .5, .9, .5, .9, .5, .9, .5, .9)
	if level.High > 1 || level.Low < 0 {
		t.Errorf("limits of a share: %v to %v", level.Low, level.High)
	}
	for _, m := range level.Months {
		if m.Signal != "" {
			t.Errorf("%s is called %q in a series that goes up and down", m.Month, m.Signal)
		}
	}
	for _, m := range chart(.1, .1, .1, .1, .1, .1, .1, .1, .1, .1).Months { // the mean of ten of them is not quite .1
		if m.Signal != "" {
			t.Errorf("%s is called %q in a series that never changes", m.Month, m.Signal)
		}
	}
	shifted := chart(.60, .61, .60, .61, .60, .61, .60, .61, .60, .80, .81, .80, .81, .80, .81, .80, .81, .80, .81).Months
	if !strings.Contains(shifted[17].Signal, "one side") && shifted[17].Signal != "beyond the limits" {
		t.Errorf("a shift: %+v", shifted)
	}
	rising := chart(.70, .60, .70, .60, .61, .62, .63, .64, .65, .70).Months
	if !strings.Contains(rising[8].Signal, "rise") || rising[7].Signal != "" {
		t.Errorf("six that rise: %+v", rising)
	}
}

// Whoever cannot wait for all records gets the newest ones first, and all of them in the end.
func TestIndexReadsTheNewestFirst(t *testing.T) {
	dir := t.TempDir()
	const all = 2*block + 5
	for k := range all {
		wall := time.Date(2026, 1, 1, 0, k, 0, 0, time.UTC)
		w, err := record.Begin(filepath.Join(dir, fmt.Sprintf("r%05d", k)), wall)
		if err != nil {
			t.Fatal(err)
		}
		open := timeline.Event{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: wall.Format(time.RFC3339), Rate: timeline.Rate}}
		if _, err := w.Journal.Append(open); err != nil {
			t.Fatal(err)
		}
		w.Journal.Close()
		w.Sound.Close()
	}
	x := NewIndex(dir, nil)
	x.wait = 0 // however slow the machine is, some are read
	for _, want := range []int{block, 2 * block, all, all} {
		lines, bad, left, err := x.Some()
		if err != nil || len(bad) > 0 || len(lines) != want || left != all-want || lines[0].Name != fmt.Sprintf("r%05d", all-1) {
			t.Fatalf("%v %v: %d lines, %d left, want %d; the first is %s", err, bad, len(lines), left, want, lines[0].Name)
		}
	}
	x = NewIndex(dir, nil)
	x.wait = time.Hour
	if lines, _, left, err := x.Some(); err != nil || len(lines) != all || left != 0 {
		t.Errorf("%v: %d lines in an hour, %d left", err, len(lines), left)
	}
	if lines, _, err := NewIndex(dir, nil).Lines(); err != nil || len(lines) != all {
		t.Errorf("%v: %d lines at once, want %d", err, len(lines), all)
	}
}

package review

import (
	"fmt"
	"io"
	"math"
	"slices"
	"sort"
	"time"

	"github.com/parquet-go/parquet-go"

	"coxswain/timeline"
	"coxswain/timeline/figures"
)

// Summary is one line about a record, for tables of many.
type Summary struct {
	Name    string             `json:"name"`
	Path    string             `json:"path"`
	Wall    time.Time          `json:"wall"`
	Seconds float64            `json:"seconds"` // length of the session
	Rhythm  string             `json:"rhythm"`  // first one called
	Outcome string             `json:"outcome"`
	Faults  int                `json:"faults"`
	Unsure  int                `json:"unsure"` // callouts heard with little confidence
	Amended bool               `json:"amended"`
	Twin    string             `json:"twin_of,omitempty"` // name of the copy that counts, if this one does not
	Figures map[string]float64 `json:"figures"`           // the known ones, by id
	Drill   *timeline.Drill    `json:"drill,omitempty"`
	Score   *Debriefing        `json:"score,omitempty"` // of a drill whose case is at hand
}

// Summarise derives a record's line from its events, which begin with
// session.open. It leaves out the ranges: they cost a hundred times as much.
func Summarise(events []timeline.Event, defs []figures.Definition) Summary {
	end := timeline.End(events)
	c := figures.Lay(events, end)
	s := Summary{
		Seconds: end.Seconds(),
		Rhythm:  string(c.State.FirstRhythm),
		Outcome: outcome(c.State),
		Figures: c.Measure(defs),
		Drill:   events[0].Session.Drill,
	}
	s.Wall = timeline.WallClock(events)
	if takenBack(events) {
		s.Outcome = TakenBack
	}
	for _, e := range events {
		switch {
		case e.Kind == timeline.Fault:
			s.Faults++
		case e.Unsure():
			s.Unsure++
		}
		s.Amended = s.Amended || e.Amend != nil
	}
	return s
}

// TakenBack is the outcome of what was called and taken back whole: it was no case.
const TakenBack = "taken back"

// takenBack reports whether something was called and nothing of it stands.
func takenBack(events []timeline.Event) bool {
	gone, called := timeline.Retracted(events), false
	for _, e := range events {
		if e.Kind.IsCallout() && !e.Kind.Row().Control {
			if !gone[e.Seq] {
				return false
			}
			called = true
		}
	}
	return called
}

// code reports whether a record is of a case, and of no drill.
func (s *Summary) code() bool { return s.Drill == nil && s.Outcome != TakenBack }

// charted reports whether a record counts in a run chart: no drill, of a known date, and
// no case that another record tells as well.
func (s *Summary) charted() bool { return s.code() && !s.Wall.IsZero() && s.Twin == "" }

// Month is a point of a run chart.
type Month struct {
	Month   string   `json:"month"` // 2026-03
	Records int      `json:"records"`
	Median  float64  `json:"median"`
	Lower   float64  `json:"lower_quartile"`
	Upper   float64  `json:"upper_quartile"`
	Outside bool     `json:"outside"`          // beyond the limits of the chart
	Signal  string   `json:"signal,omitempty"` // the rule by which the month is no chance; empty: none
	Worst   []string `json:"records_furthest"` // paths, furthest from the mean first
}

// RunChart is a figure by month with the natural limits of an individuals
// chart: mean plus and minus 2.66 times the mean moving range (Wheeler,
// Understanding Variation, 1993; NIST/SEMATECH e-Handbook 6.3.2.2). The limits
// need at least eight months.
type RunChart struct {
	ID     string  `json:"id"`
	Months []Month `json:"months"`
	Mean   float64 `json:"mean"`
	Low    float64 `json:"low"`
	High   float64 `json:"high"`
	Limits bool    `json:"limits"` // there are enough months
}

const fewestMonths = 8

// RunChartOf makes the run chart of one figure. Drills are left out. Its limits
// stay within what the figure can be: not below 0, and not above 1 for a share.
func RunChartOf(list []Summary, d figures.Definition) RunChart {
	id := d.ID
	type month struct{ year, month int }
	values, byMonth := map[month][]float64{}, map[string]month{}
	inMonth := func(s *Summary) month { return month{s.Wall.Year(), int(s.Wall.Month())} }
	for i := range list {
		if v, ok := list[i].Figures[id]; ok && list[i].charted() {
			m := inMonth(&list[i])
			values[m] = append(values[m], v)
		}
	}
	c := RunChart{ID: id}
	for m, x := range values {
		name := fmt.Sprintf("%04d-%02d", m.year, m.month)
		byMonth[name] = m
		lower, upper := quartiles(x)
		one := Month{Month: name, Records: len(x), Median: figures.Median(x), Lower: lower, Upper: upper}
		c.Months = append(c.Months, one)
	}
	sort.Slice(c.Months, func(i, j int) bool { return c.Months[i].Month < c.Months[j].Month })
	medians := make([]float64, len(c.Months))
	for i, m := range c.Months {
		medians[i] = m.Median
	}
	c.Mean, c.Low, c.High = Limits(medians)
	if c.Low = max(0, c.Low); d.IsShare() {
		c.High = min(1, c.High)
	}
	c.Limits = len(medians) >= fewestMonths
	for i := range c.Months {
		m := &c.Months[i]
		least := 1e-9 * max(1, math.Abs(c.Mean)) // sums round
		if m.Outside = c.Limits && (m.Median < c.Low-least || m.Median > c.High+least); m.Outside {
			m.Worst = furthest(list, id, c.Mean, func(s *Summary) bool { return inMonth(s) == byMonth[m.Month] })
		}
	}
	if c.Limits {
		c.signals()
	}
	return c
}

// quartiles are the medians of the lower and the upper half of values, the middle one in
// both (Tukey's hinges, Exploratory Data Analysis, 1977; from memory).
func quartiles(x []float64) (lower, upper float64) {
	y := slices.Sorted(slices.Values(x))
	half := (len(y) + 1) / 2
	return figures.Median(y[:half]), figures.Median(y[len(y)-half:])
}

// furthest are the paths of the codes in a month whose figure lies furthest from
// the mean, five at most.
func furthest(list []Summary, id string, mean float64, within func(*Summary) bool) (paths []string) {
	var in []*Summary
	for i := range list {
		if _, ok := list[i].Figures[id]; ok && list[i].charted() && within(&list[i]) {
			in = append(in, &list[i])
		}
	}
	off := func(s *Summary) float64 { return math.Abs(s.Figures[id] - mean) }
	sort.SliceStable(in, func(a, b int) bool { return off(in[a]) > off(in[b]) })
	for _, s := range in[:min(5, len(in))] {
		paths = append(paths, s.Path)
	}
	return paths
}

// signals marks the months that are no chance, by three of the tests of Nelson
// (Journal of Quality Technology 1984;16:237; from memory): one point beyond the
// limits; nine in a row on one side of the mean; six in a row that rise or fall.
func (c *RunChart) signals() {
	side, slope, same, steady := 0, 0, 0, 0
	for i := range c.Months {
		m := &c.Months[i]
		s := sign(m.Median - c.Mean)
		if same++; s != side || s == 0 {
			side, same = s, 1
		}
		if i > 0 {
			d := sign(m.Median - c.Months[i-1].Median)
			if steady++; d != slope || d == 0 {
				slope, steady = d, 1
			}
		}
		switch {
		case m.Outside:
			m.Signal = "beyond the limits"
		case same >= 9 && side != 0:
			m.Signal = "ninth or later in a row on one side of the mean"
		case steady >= 5 && slope != 0: // five steps between six points
			m.Signal = "sixth or later in a row that rise or fall"
		}
	}
}

// sign is the direction of a difference; what rounding leaves is none.
func sign(x float64) int {
	const least = 1e-9
	switch {
	case x > least:
		return 1
	case x < -least:
		return -1
	}
	return 0
}

// Limits are the mean and the natural limits of an individuals chart.
func Limits(x []float64) (mean, low, high float64) {
	if len(x) == 0 {
		return 0, 0, 0
	}
	moving := 0.0
	for i, v := range x {
		mean += v
		if i > 0 {
			moving += math.Abs(v - x[i-1])
		}
	}
	mean /= float64(len(x))
	if len(x) > 1 {
		moving /= float64(len(x) - 1)
	}
	return mean, mean - 2.66*moving, mean + 2.66*moving
}

// parquetRow is a Summary as a columnar engine reads it; an unknown figure is null.
type parquetRow struct {
	Name                string    `parquet:"name"`
	Path                string    `parquet:"path"`
	Wall                time.Time `parquet:"wall,timestamp(millisecond:local)"`
	Seconds             float64   `parquet:"seconds"`
	Rhythm              string    `parquet:"rhythm"`
	Outcome             string    `parquet:"outcome"`
	Faults              int64     `parquet:"faults"`
	Unsure              int64     `parquet:"unsure"`
	Amended             bool      `parquet:"amended"`
	Twin                *string   `parquet:"twin_of,optional"`
	CompressionFraction *float64  `parquet:"compression_fraction,optional"`
	Pauses              *float64  `parquet:"pauses,optional"`
	LongestPause        *float64  `parquet:"longest_pause,optional"`
	PausesOver10        *float64  `parquet:"pauses_over_10s,optional"`
	PreShock            *float64  `parquet:"pre_shock_pause,optional"`
	PostShock           *float64  `parquet:"post_shock_pause,optional"`
	PeriShock           *float64  `parquet:"peri_shock_pause,optional"`
	FirstCompression    *float64  `parquet:"first_compression,optional"`
	FirstShock          *float64  `parquet:"first_shock,optional"`
	FirstEpinephrine    *float64  `parquet:"first_epinephrine,optional"`
	EpinephrineInterval *float64  `parquet:"epinephrine_interval,optional"`
	CycleAdherence      *float64  `parquet:"cycle_adherence,optional"`
	Shocks              *float64  `parquet:"shocks,optional"`
	ReturnOfCirculation *float64  `parquet:"return_of_circulation,optional"`
	Sustained           *float64  `parquet:"sustained,optional"`
}

// named is a name, or null where there is none.
func named(name string) *string {
	if name == "" {
		return nil
	}
	return &name
}

// WriteParquet writes the summaries as an Apache Parquet file.
func WriteParquet(w io.Writer, list []Summary) error {
	p := parquet.NewGenericWriter[parquetRow](w)
	for _, s := range list {
		f := func(id string) *float64 {
			if v, ok := s.Figures[id]; ok {
				return &v
			}
			return nil
		}
		row := parquetRow{
			s.Name,
			s.Path,
			s.Wall.UTC(),
			s.Seconds,
			s.Rhythm,
			s.Outcome,
			int64(s.Faults),
			int64(s.Unsure),
			s.Amended,
			named(s.Twin),
			f(
				"compression_fraction",
			),
			f("pauses"),
			f("longest_pause"),
			f("pauses_over_10s"),
			f("pre_shock_pause"),
			f("post_shock_pause"),
			f("peri_shock_pause"),
			f("first_compression"),
			f(
				"first_shock",
			),
			f("first_epinephrine"),
			f("epinephrine_interval"),
			f("cycle_adherence"),
			f("shocks"),
			f("return_of_circulation"),
			f("sustained"),
		}
		if _, err := p.Write([]parquetRow{row}); err != nil {
			return err
		}
	}
	return p.Close()
}

package review

import (
	"bytes"
	"database/sql"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	_ "github.com/marcboeker/go-duckdb"

	"coxswain/timeline"
	"coxswain/timeline/figures"
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
			s := Summary{Name: fmt.Sprintf("r%d-%d", m, k), Path: fmt.Sprintf("records/r%d-%d", m, k), Wall: time.Date(2024, time.Month(1+m), 2+k%25, 3, 4, 5, 0, time.UTC), Rhythm: "VF", Outcome: "not called", Figures: map[string]float64{"compression_fraction": 0.8 + 0.05*r.NormFloat64()}}
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
	c := RunChartOf(years(20, 12), "compression_fraction")
	if len(c.Months) != 20 || !c.Limits || !c.Months[19].Outside || c.Months[19].Worst[0] != "records/r19-0" {
		t.Errorf("%+v", c)
	}
	for _, m := range c.Months[:15] {
		if m.Outside {
			t.Errorf("%+v lies outside %v to %v", m, c.Low, c.High)
		}
	}
	if RunChartOf(years(5, 3), "compression_fraction").Limits {
		t.Error("limits from five months")
	}
	if s, err := DrawRunChart(c, "1"); err != nil || len(s) < 1000 {
		t.Errorf("%v %d", err, len(s))
	}
}

// DuckDB reads the Parquet file: the two queries of the README.
func TestParquetInDuckDB(t *testing.T) {
	list := years(14, 6)
	var b bytes.Buffer
	if err := WriteParquet(&b, list); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "records.parquet")
	os.WriteFile(path, b.Bytes(), 0o600)
	db, err := sql.Open("duckdb", "")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var months int
	var worst float64
	err = db.QueryRow(`SELECT count(*), min(m) FROM (SELECT date_trunc('month', wall) AS month, median(compression_fraction) AS m FROM '`+path+`' GROUP BY month ORDER BY month)`).Scan(&months, &worst)
	if err != nil || months != 14 || math.Abs(worst-0.425) > 1e-9 {
		t.Errorf("%v: %d months, worst %v", err, months, worst)
	}
	want := 0
	for _, s := range list {
		if x, ok := s.Figures["first_shock"]; ok && x > 90 {
			want++
		}
	}
	var late int
	if err := db.QueryRow(`SELECT count(*) FROM '` + path + `' WHERE rhythm = 'VF' AND first_shock > 90`).Scan(&late); err != nil || late != want {
		t.Errorf("%v: %d late shocks, want %d", err, late, want)
	}
	var unknown int
	if err := db.QueryRow(`SELECT count(*) FROM '` + path + `' WHERE first_shock IS NULL`).Scan(&unknown); err != nil || unknown != len(list)*4/6 {
		t.Errorf("%v: %d unknown", err, unknown)
	}
}

// A summary leaves out what is not known and counts what is unsure.
func TestSummarise(t *testing.T) {
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	s := Summarise(sample(t).Events, defs)
	if _, ok := s.Figures["compression_rate"]; ok || s.Unsure != 1 || !s.Amended || s.Rhythm != "VF" || s.Outcome != "return of circulation" || s.Figures["pre_shock_pause"] != 7 {
		t.Errorf("%+v", s)
	}
}

// BenchmarkSummarise is one record of a typical length.
func BenchmarkSummarise(b *testing.B) {
	var events []timeline.Event
	for k := range 120 {
		at := timeline.Seconds(float64(10 * k))
		events = append(events, timeline.Event{Seq: uint64(k + 1), At: at, Kind: timeline.Callouts[k%28], Heard: &timeline.Heard{End: at, Confidence: 0.9}})
	}
	events[0] = timeline.Event{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: "2026-03-01T14:00:00Z"}}
	defs, err := figures.Definitions()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		Summarise(events, defs)
	}
}

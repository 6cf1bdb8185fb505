package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// manyRecords fills a folder with n journals of a code of about 80 events,
// spread over two years.
func manyRecords(tb testing.TB, dir string, n int) {
	tb.Helper()
	for month := range 24 {
		wall := time.Date(2024, time.Month(1+month), 5, 10, 0, 0, 0, time.UTC)
		seed := filepath.Join(tb.TempDir(), "seed")
		if err := os.MkdirAll(seed, 0o700); err != nil {
			tb.Fatal(err)
		}
		j, err := record.Create(seed)
		if err != nil {
			tb.Fatal(err)
		}
		for _, e := range typicalCode(wall, month) {
			if _, err := j.Append(e); err != nil {
				tb.Fatal(err)
			}
		}
		j.Close()
		b, err := os.ReadFile(filepath.Join(seed, record.JournalName))
		if err != nil {
			tb.Fatal(err)
		}
		for k := month; k < n; k += 24 {
			d := filepath.Join(dir, fmt.Sprintf("%s-%05d", wall.Format("2006-01"), k))
			os.Mkdir(d, 0o700)
			if err := os.WriteFile(filepath.Join(d, record.JournalName), b, 0o600); err != nil {
				tb.Fatal(err)
			}
		}
	}
}

func typicalCode(wall time.Time, month int) []timeline.Event {
	events := []timeline.Event{{Kind: timeline.SessionOpen,
		Session: &timeline.Session{Wall: wall.Format(time.RFC3339Nano), Rate: timeline.Rate, Caution: Caution}}}
	at := 5.0
	say := func(kind timeline.Kind, after float64) {
		at += after
		end := timeline.Seconds(at)
		events = append(events, timeline.Event{At: end, Kind: kind,
			Heard: &timeline.Heard{Start: end - timeline.Rate, End: end, Decided: end + 9600, Text: string(kind), Confidence: 0.95}},
			timeline.Event{At: end + timeline.Rate/2, Kind: timeline.CueSpoken, Text: "said." + string(kind) + ": Copied"})
	}
	say(timeline.CodeStart, 0)
	say(timeline.CompressionsStart, 5)
	for range 6 {
		say(timeline.RhythmCheck, 115)
		say(timeline.RhythmVF, 3)
		say(timeline.ShockGiven, 4)
		say(timeline.CompressionsStart, 3+float64(month%5))
		say(timeline.Epinephrine, 20)
		say(timeline.CompressorChange, 2)
	}
	say(timeline.ROSC, 40)
	return append(events, timeline.Event{At: timeline.Seconds(at + 30), Kind: timeline.SessionClose})
}

// A folder is listed, searched, summarised and charted; a broken record is
// named and left out.
func TestRecords(t *testing.T) {
	dir := t.TempDir()
	manyRecords(t, dir, 48)
	os.MkdirAll(filepath.Join(dir, "broken"), 0o700)
	os.WriteFile(filepath.Join(dir, "broken", record.JournalName), []byte("{}\n{}\n"), 0o600)
	if out := ok(t, "records", "--records", dir); !strings.Contains(out, "48 records") || !strings.Contains(out, "VF") {
		t.Error(out)
	}
	if out := ok(t, "records", "--records", dir, "--search", "2024-03 vf"); !strings.Contains(out, "2 records") {
		t.Error(out)
	}
	if out := ok(t, "records", "--records", dir, "--summary"); !strings.Contains(out,
		"Compression fraction: mean of the months") || !strings.Contains(out, "natural limits") || !strings.Contains(out, "2025-12") {
		t.Error(out)
	}
	charts, table := filepath.Join(dir, "c.html"), filepath.Join(dir, "t.parquet")
	ok(t, "records", "--records", dir, "--charts", charts, "--parquet", table)
	b, err := os.ReadFile(charts)
	if err != nil || strings.Count(string(b), "<svg") < 10 || !strings.Contains(string(b), Caution) {
		t.Errorf("%v: %d charts", err, strings.Count(string(b), "<svg"))
	}
	if b, _ := os.ReadFile(table); !strings.HasPrefix(string(b), "PAR1") {
		t.Error("no Parquet file")
	}
}

// processorTime is what this process has had of the processors: a measure that does not
// depend on what else the machine does.
func processorTime() time.Duration {
	var u syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// BenchmarkTenThousandRecords reads and summarises 10,000 records by month.
func BenchmarkTenThousandRecords(b *testing.B) {
	dir := b.TempDir()
	manyRecords(b, dir, 10000)
	defs, err := figures.Definitions()
	if err != nil {
		b.Fatal(err)
	}
	before := processorTime()
	for b.Loop() {
		list, bad, err := review.LoadAll(dir, defs)
		if err != nil || len(bad) > 0 || len(list) != 10000 {
			b.Fatal(len(list), bad, err)
		}
		if n := len(review.RunCharts(list, defs)); n < 10 {
			b.Fatal(n)
		}
	}
	b.ReportMetric((processorTime()-before).Seconds()/float64(b.N), "cpu-s/op")
}

package main

import (
	"bytes"
	"crypto/sha256"
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
			if err := os.WriteFile(filepath.Join(d, record.JournalName), anew(b, wall, k), 0o600); err != nil {
				tb.Fatal(err)
			}
		}
	}
}

// anew is a journal whose session began k microseconds later, with the chain made anew
// as its format says: each line's sum is the SHA-256 of the sum before and of the line.
func anew(journal []byte, wall time.Time, k int) []byte {
	later := wall.Add(time.Duration(k) * time.Microsecond).Format(time.RFC3339Nano)
	journal = bytes.Replace(journal, []byte(wall.Format(time.RFC3339Nano)), []byte(later), 1)
	var out bytes.Buffer
	sum := ""
	for line := range bytes.Lines(journal) {
		plain := append(bytes.Clone(line[:bytes.LastIndex(line, []byte(`,"sum":"`))]), '}')
		sum = fmt.Sprintf("%x", sha256.Sum256(append([]byte(sum), plain...)))
		fmt.Fprintf(&out, "%s,\"sum\":\"%s\"}\n", plain[:len(plain)-1], sum)
	}
	return out.Bytes()
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

// A case that lies in two folders counts once, in the table by month as in the charts and
// in Parquet; the other stands in the list, marked. The one that tells more counts: what was
// amended, and what was not cut off.
func TestTwinsCountOnce(t *testing.T) {
	dir := t.TempDir()
	manyRecords(t, dir, 24)
	before := ok(t, "records", "--records", dir, "--summary")
	one, two := filepath.Join(dir, "2024-01-00000"), filepath.Join(dir, "2024-01-00000_2")
	for _, to := range []string{two, filepath.Join(dir, "another")} {
		if err := os.CopyFS(to, os.DirFS(one)); err != nil {
			t.Fatal(err)
		}
	}
	cut, err := os.ReadFile(filepath.Join(one, record.JournalName))
	if err != nil {
		t.Fatal(err)
	}
	os.Mkdir(filepath.Join(dir, "0-cut"), 0o700)
	cut = cut[:bytes.LastIndexByte(cut[:len(cut)-1], '\n')+1]
	if err := os.WriteFile(filepath.Join(dir, "0-cut", record.JournalName), cut, 0o600); err != nil {
		t.Fatal(err)
	}
	if after := ok(t, "records", "--records", dir, "--summary"); after != before {
		t.Errorf("with copies of a case\n%s\nwithout\n%s", after, before)
	}
	ok(t, "amend", two, "--do", "add", "--kind", "access.iv", "--at", "0:30", "--by", "AB", "--reason", "told later")
	out := ok(t, "records", "--records", dir)
	if strings.Count(out, "(twin of 2024-01-00000_2)") != 3 || !strings.Contains(out, "27 records, 3 of them twins") {
		t.Error(out)
	}
	list, _, err := review.LoadAll(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range list {
		if want := s.Path == one || strings.Contains("another 0-cut", filepath.Base(s.Path)); (s.Twin != "") != want {
			t.Errorf("%s is a twin of %q", s.Name, s.Twin)
		}
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

package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// cutOff leaves a record as SIGKILL does: nothing is closed but what the
// process held, and what was never flushed may be missing.
func cutOff(t testing.TB, w *Writer) { w.Journal.Close() }

// Cut off, gone on with, cut off, gone on with, mended: the chain over sound
// and events holds, also while the header speaks of less than the file has.
func TestChainHoldsThroughCuts(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "r")
	w := begin(t, dir)
	play(t, w, 13)
	cutOff(t, w)
	for _, gap := range []time.Duration{16*time.Second + 7*time.Millisecond, 300 * time.Millisecond} {
		at := w.Sound.Pos()
		var err error
		if w, err = opened(t, dir).Resume(wall.Add(audio.Duration(at) + gap)); err != nil {
			t.Fatal(err)
		}
		if w.Had != at || w.Pos != w.Sound.Pos() || w.Pos%audio.Block != 0 || w.Pos < at || w.Pos > at+samples(gap) {
			t.Errorf("had %d of %d, goes on at %d", w.Had, at, w.Pos)
		}
		play(t, w, 4)
		cutOff(t, w)
	}
	if _, err := verified(dir); err == nil || !strings.Contains(err.Error(), "mend") {
		t.Errorf("a record that was cut off: %v", err)
	}
	r, err := Mend(dir)
	if err != nil {
		t.Fatal(err)
	}
	p, err := r.Verify()
	if err != nil || p.Hashed != p.Samples || p.Samples != w.Sound.Pos() || p.Late == 0 ||
		p.Late >= p.Samples-10*audio.Rate+1 {
		t.Errorf("%v %+v", err, p)
	}
	again, err := Mend(dir)
	if err != nil || again.Fingerprint() != r.Fingerprint() {
		t.Errorf("mended twice: %v", err)
	}
	edit(t, filepath.Join(dir, recorder.PartName(0)), func(b []byte) []byte { b[len(b)/2] ^= 1; return b })
	if _, err := verified(dir); err == nil {
		t.Error("a change after mend does not show")
	}
}

// The session to go on with is found by what the records hold.
func TestFindCut(t *testing.T) {
	now := wall.Add(30 * time.Second) // of a record of 13 s that began at wall
	for _, c := range []struct {
		name string
		make func(t *testing.T, records string)
		want string
	}{
		{"none", func(*testing.T, string) {}, ""},
		{"cut off", func(t *testing.T, r string) { cutRecord(t, r, "2026-03-01T140000", wall, 13) }, "2026-03-01T140000"},
		{"too long ago", func(t *testing.T, r string) { cutRecord(t, r, "x", wall.Add(-time.Hour), 13) }, ""},
		{"finished", func(t *testing.T, r string) { closedRecord(t, r, "2026-03-01T140000", wall, 13) }, ""},
		{"a folder that sorts behind it", func(t *testing.T, r string) {
			cutRecord(t, r, "2026-03-01T140000", wall, 13)
			closedRecord(t, r, "training", wall.Add(-48*time.Hour), 5)
			os.Mkdir(filepath.Join(r, "zzz"), 0o700)
		}, "2026-03-01T140000"},
		{"a finished record with a date to come", func(t *testing.T, r string) {
			cutRecord(t, r, "2026-03-01T140000", wall, 13)
			closedRecord(t, r, "2099-01-01T000000", wall.AddDate(73, 0, 0), 5)
		}, "2026-03-01T140000"},
		{"an unfinished record with a date to come", func(t *testing.T, r string) {
			cutRecord(t, r, "2026-03-01T140000", wall, 13)
			cutRecord(t, r, "2099-01-01T000000", wall.AddDate(73, 0, 0), 5)
		}, "2026-03-01T140000"},
		{"only that", func(t *testing.T, r string) { cutRecord(t, r, "2099-01-01T000000", wall.AddDate(73, 0, 0), 5) }, ""},
		{"a later session that came to its end", func(t *testing.T, r string) {
			cutRecord(t, r, "2026-03-01T140000", wall, 13)
			closedRecord(t, r, "2026-03-01T140015", wall.Add(15*time.Second), 5)
		}, ""},
		{"the hour that comes twice in autumn", func(t *testing.T, r string) {
			// 02:59:50 in summer time, then 02:00:10 in winter time, ten seconds before now.
			summer, winter := time.FixedZone("CEST", 2*3600), time.FixedZone("CET", 3600)
			closedRecord(t, r, "2026-10-25T025950", wall.Add(-10*time.Second).In(summer), 3)
			cutRecord(t, r, "2026-10-25T020010", wall.Add(10*time.Second).In(winter), 13)
		}, "2026-10-25T020010"},
		{"two within a second", func(t *testing.T, r string) {
			cutRecord(t, r, "2026-03-01T140000", wall, 1)
			cutRecord(t, r, "2026-03-01T140000-2", wall.Add(500*time.Millisecond), 13)
		}, "2026-03-01T140000-2"},
		{"a clock that was set back by an hour", func(t *testing.T, r string) { cutRecord(t, r, "x", wall.Add(time.Hour), 13) }, "x"},
		{"a broken one beside it", func(t *testing.T, r string) {
			cutRecord(t, r, "2026-03-01T140000", wall, 13)
			os.WriteFile(filepath.Join(cutRecord(t, r, "broken", wall.Add(time.Second), 1), JournalName), []byte("{}\n{}\n"), 0o600)
		}, "2026-03-01T140000"},
	} {
		records, within := t.TempDir(), 10*time.Minute
		if strings.Contains(c.name, "set back") {
			within = 2 * time.Hour
		}
		c.make(t, records)
		name := ""
		if r := FindCut(now, within, records); r != nil {
			name = r.Name()
		}
		if name != c.want {
			t.Errorf("%s: %q, want %q", c.name, name, c.want)
		}
	}
}

// A wall clock that is set between the cut and the next start, by whatever, hides no case: the machine's own
// clock tells how long ago that was, if the machine has run since.
func TestFindCutWhereTheClockWasSet(t *testing.T) {
	up := Uptime()
	if up == nil {
		t.Skip("this machine has no clock of its own")
	}
	for _, c := range []struct {
		name  string
		set   time.Duration // ahead
		id    string
		found bool
	}{
		{"ahead", 3 * time.Hour, up.ID, true},
		{"back", -3 * time.Hour, up.ID, true},
		{"not at all", 0, up.ID, true},
		{"started anew since", 3 * time.Hour, "another", false},
	} {
		records, now := t.TempDir(), time.Now().Add(c.set)
		began := now.Add(-c.set).Add(-20 * time.Second)
		dir := filepath.Join(records, "cut")
		w, err := Begin(dir, began)
		if err != nil {
			t.Fatal(err)
		}
		add(t, w.Journal, timeline.Event{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: began.Format(time.RFC3339Nano),
			Rate: timeline.Rate, Boot: &timeline.Boot{ID: c.id, UptimeMS: up.UptimeMS - 20000}}})
		silence := make([]float32, 10*audio.Rate)
		if err := w.Sound.Write(silence, silence); err != nil {
			t.Fatal(err)
		}
		w.Sound.Checkpoint()
		w.Journal.Close()
		for k := range 6 { // older ones
			closedRecord(t, records, "old"+strconv.Itoa(k), began.Add(-48*time.Hour), 1)
			os.Chtimes(filepath.Join(records, "old"+strconv.Itoa(k), JournalName), began, began.Add(-48*time.Hour))
		}
		if r := FindCut(now, 10*time.Minute, records); (r != nil) != c.found {
			t.Errorf("clock set %s: found %v", c.name, r != nil)
		}
		if got := LeftOpen(now, 10*time.Minute, records); (len(got) == 1) != c.found {
			t.Errorf("clock set %s: left open %q", c.name, got)
		}
	}
}

func cutRecord(t testing.TB, records, name string, at time.Time, seconds int) string {
	t.Helper()
	dir := filepath.Join(records, name)
	w, err := Begin(dir, at)
	if err != nil {
		t.Fatal(err)
	}
	add(
		t,
		w.Journal,
		timeline.Event{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: at.Format(time.RFC3339Nano), Rate: timeline.Rate}},
	)
	silence := make([]float32, seconds*audio.Rate)
	if err := w.Sound.Write(silence, silence); err != nil {
		t.Fatal(err)
	}
	w.Sound.Checkpoint()
	w.Journal.Close()
	return dir
}

func closedRecord(t testing.TB, records, name string, at time.Time, seconds int) {
	t.Helper()
	if _, err := Mend(cutRecord(t, records, name, at, seconds)); err != nil {
		t.Fatal(err)
	}
}

// A session that goes on reads its journal once.
func TestResumeReadsOnce(t *testing.T) {
	if _, err := os.Stat("/proc/self/io"); err != nil {
		t.Skip("no /proc/self/io here")
	}
	records := t.TempDir()
	dir := cutRecord(t, records, "r", wall, 2)
	sum, n := opened(t, dir).Fingerprint(), uint64(1)
	f, err := os.OpenFile(filepath.Join(dir, JournalName), os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	for range 2000 {
		n++
		b, _ := json.Marshal(timeline.Event{Seq: n, Kind: timeline.Note, Text: strings.Repeat("x", 500)})
		sum = digest(sum, b)
		f.Write(append(withSum(b, sum), '\n'))
	}
	f.Close()
	st, _ := os.Stat(filepath.Join(dir, JournalName))
	before := bytesRead(t)
	w, err := FindCut(wall.Add(5*time.Second), time.Minute, records).Resume(wall.Add(5 * time.Second))
	if err != nil || len(w.Events) != 2001 {
		t.Fatal(err)
	}
	if got := bytesRead(t) - before; got > st.Size()*3/2 {
		t.Errorf("%d bytes were read for a journal of %d", got, st.Size())
	}
}

func bytesRead(t *testing.T) int64 {
	b, err := os.ReadFile("/proc/self/io")
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range strings.Split(string(b), "\n") {
		if s, ok := strings.CutPrefix(l, "rchar: "); ok {
			n, _ := strconv.ParseInt(s, 10, 64)
			return n
		}
	}
	t.Fatal("no rchar")
	return 0
}

// A power cut may tear both files anywhere, headers included. The next session
// goes on with what is whole, and the record can be finished.
func TestPowerCut(t *testing.T) {
	whole := finished(t, 20)
	rnd := rand.New(rand.NewPCG(11, 4))
	for k := range 60 {
		records := t.TempDir()
		dir := filepath.Join(records, "2026-03-01T140000")
		os.Mkdir(dir, 0o700)
		for _, name := range []string{JournalName, recorder.PartName(0)} {
			b, err := os.ReadFile(filepath.Join(whole, name))
			if err != nil {
				t.Fatal(err)
			}
			cut := rnd.IntN(len(b))
			if name == JournalName { // the close is not there yet; the first line may be torn as well
				cut = min(cut, bytes.LastIndexByte(b[:len(b)-1], '\n'))
			} else if k%5 == 0 {
				cut = rnd.IntN(700) // within the header
			}
			if r, err := read(dir); err == nil && r.heard() > 0 { // what is hashed was flushed before
				cut = max(cut, int(headerOf(t)+4*r.heard()))
			}
			os.WriteFile(filepath.Join(dir, name), b[:cut], 0o600)
		}
		kept, _, err := Read(dir)
		if err != nil && !(len(kept) == 0 && errors.Is(err, ErrNoSession)) {
			t.Fatal(err)
		}
		r := FindCut(wall.Add(30*time.Second), 10*time.Minute, records)
		if len(kept) == 0 { // not even the first line: nothing to go on with
			if _, err := Mend(dir); r != nil || err == nil {
				t.Errorf("cut %d: an empty journal was taken for a session", k)
			}
			continue
		}
		if r == nil {
			t.Fatalf("cut %d: not found", k)
		}
		w, err := r.Resume(wall.Add(30 * time.Second))
		if err != nil || w.Pos != 30*audio.Rate {
			t.Fatalf("cut %d: %v, goes on at %d", k, err, w.Pos)
		}
		add(t, w.Journal, timeline.Event{At: timeline.Time(w.Pos), Kind: timeline.Note})
		w.Sound.Write(make([]float32, audio.Block), make([]float32, audio.Block))
		cutOff(t, w) // and the power is cut again
		if _, err := Mend(dir); err != nil {
			t.Fatalf("cut %d: %v", k, err)
		}
		if _, err := verified(dir); err != nil {
			t.Errorf("cut %d: %v", k, err)
		}
		if events, _, _ := Read(dir); len(events) != len(kept)+2 {
			t.Errorf("cut %d: %d events of %d", k, len(events), len(kept)+2)
		}
	}
}

// A wall clock that was set back an hour cannot make the session run backwards.
func TestClockSetBack(t *testing.T) {
	records := t.TempDir()
	cutRecord(t, records, "r", wall, 6)
	w, err := FindCut(wall.Add(-time.Hour), 2*time.Hour, records).Resume(wall.Add(-time.Hour))
	if err != nil || w.Pos != 6*audio.Rate || w.Had != 6*audio.Rate {
		t.Errorf("%v: resumed at %v of 6 s", err, audio.Duration(w.Pos))
	}
}

// While a case runs the wall clock is set, by an hour or by years, and then the session is
// cut off: it goes on, as much later as it is by the machine's own clock, which was not set.
func TestResumeThoughTheClockWasSet(t *testing.T) {
	if Uptime() == nil {
		t.Skip("this machine has no clock of its own")
	}
	const ago = 30 * time.Second
	for _, set := range []time.Duration{-time.Hour, time.Hour, 20 * 365 * 24 * time.Hour} {
		records := t.TempDir()
		w, err := Begin(filepath.Join(records, "r"), time.Now().Add(-ago))
		if err != nil {
			t.Fatal(err)
		}
		began := time.Now().Add(-ago - set)
		add(t, w.Journal, timeline.Event{Kind: timeline.SessionOpen,
			Session: &timeline.Session{Wall: began.Format(time.RFC3339Nano), Rate: timeline.Rate, Boot: Uptime().After(-ago)}})
		play(t, w, 3)
		cutOff(t, w)
		r := FindCut(time.Now(), 10*time.Minute, records)
		if r == nil {
			t.Errorf("set by %v: nothing goes on", set)
			continue
		}
		if w, err = r.Resume(time.Now()); err != nil || w.Pos < int64(ago.Seconds())*audio.Rate || w.Had != 3*audio.Rate {
			t.Fatalf("set by %v: %v: it goes on at %v, 30 s after it began", set, err, audio.Duration(w.Pos))
		}
		cutOff(t, w)
	}
	r := opened(t, cutRecord(t, t.TempDir(), "r", wall, 1))
	r.Events[0].Session.Boot = &timeline.Boot{ID: "another start", UptimeMS: 1}
	if got := r.since(wall.Add(time.Minute)); got != time.Minute {
		t.Errorf("on a machine that was started anew it began %v ago", got)
	}
}

// A disk that was full took less sound than the session had: mend puts silence
// there and says how much, and the record can be verified, signed and sealed. A
// journal that says nonsense gets none.
func TestMendAfterAFullDisk(t *testing.T) {
	for _, c := range []struct {
		name    string
		close   bool
		at      timeline.Time
		silence int64
	}{
		{"closed", true, timeline.Seconds(30), 18 * audio.Rate},
		{"cut off as well", false, timeline.Seconds(30), 18 * audio.Rate},
		{"nonsense", true, 1 << 60, -1},
	} {
		dir := filepath.Join(t.TempDir(), "r")
		w := begin(t, dir)
		play(t, w, 12)
		add(t, w.Journal, timeline.Event{At: c.at, Kind: timeline.Fault, Text: "no space left on device"})
		if c.close {
			add(t, w.Journal, timeline.Event{At: c.at, Kind: timeline.SessionClose})
		}
		cutOff(t, w)
		m, err := Mend(dir)
		if c.silence < 0 {
			if left, _ := os.ReadDir(dir); err == nil || len(left) != 2 {
				t.Errorf("%s: %v, %d files", c.name, err, len(left))
			}
			continue
		}
		if err != nil || m.Silence != c.silence || m.Samples != 30*audio.Rate {
			t.Errorf("%s: %v %+v", c.name, err, m)
		}
		p, err := verified(dir)
		if err != nil || p.Samples != 30*audio.Rate || p.Late != 20*audio.Rate {
			t.Errorf("%s: %v %+v", c.name, err, p)
		}
	}
}

package record

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coxswain/timeline"
)

func write(t *testing.T, dir string, n int) {
	t.Helper()
	j, err := Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		if _, err := j.Append(timeline.Event{At: timeline.Time(i * timeline.Rate), Kind: timeline.ShockGiven,
			Values: map[string]float64{"energy_j": 200}}); err != nil {
			t.Fatal(err)
		}
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
}

func TestJournalReadsBackWhatWasAppended(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, 3)
	events, tail, err := Read(dir)
	if err != nil || tail.Reason != "" || len(events) != 3 {
		t.Fatalf("%d events, tail %q, error %v", len(events), tail.Reason, err)
	}
	if e := events[2]; e.Seq != 3 || e.At != 2*timeline.Rate || e.Values["energy_j"] != 200 {
		t.Errorf("third event is %+v", e)
	}
	if _, err := Create(dir); err == nil {
		t.Error("a second journal was made over the first")
	}
}

// Events that are appended at once stand in the journal as those one after the other do; where one has a wrong
// number none of them does.
func TestEventsAtOnce(t *testing.T) {
	one, all := t.TempDir(), t.TempDir()
	write(t, one, 5)
	events, _, err := Read(one)
	if err != nil {
		t.Fatal(err)
	}
	j, err := Create(all)
	if err != nil {
		t.Fatal(err)
	}
	for _, some := range [][]timeline.Event{events[:1], nil, events[1:]} {
		if err := j.AppendAll(some); err != nil {
			t.Fatal(err)
		}
	}
	if err := j.AppendAll([]timeline.Event{{Seq: 6}, {Seq: 8}}); err == nil {
		t.Error("an event out of turn is taken")
	}
	if err := j.Close(); err != nil {
		t.Fatal(err)
	}
	want, _ := os.ReadFile(filepath.Join(one, JournalName))
	if got, err := os.ReadFile(filepath.Join(all, JournalName)); err != nil || !bytes.Equal(got, want) {
		t.Errorf("%v: at once:\n%s\none after the other:\n%s", err, got, want)
	}
}

// Corrupt, prove it shows, repair, append, read again.
func TestJournalDamage(t *testing.T) {
	for _, c := range []struct {
		name   string
		damage func([]byte) []byte
		broken bool
		events int
	}{
		{"whole", func(b []byte) []byte { return b }, false, 4},
		{"torn last line", func(b []byte) []byte { return b[:len(b)-20] }, false, 3},
		{"no last newline", func(b []byte) []byte { return b[:len(b)-1] }, false, 3},
		{"edited value", func(b []byte) []byte { return bytes.Replace(b, []byte(":200"), []byte(":300"), 1) }, true, 0},
		{"edited last line", func(b []byte) []byte {
			i := bytes.LastIndex(b, []byte(":200"))
			return append(append(b[:i:i], ":300"...), b[i+4:]...)
		}, true, 3},
		{"line removed", func(b []byte) []byte {
			l := bytes.SplitAfter(b, []byte("\n"))
			return bytes.Join(append(l[:1:1], l[2:]...), nil)
		}, true, 1},
		{"lines swapped", func(b []byte) []byte {
			l := bytes.SplitAfter(b, []byte("\n"))
			l[1], l[2] = l[2], l[1]
			return bytes.Join(l, nil)
		}, true, 1},
		{"a sum taken off", func(b []byte) []byte {
			i := bytes.LastIndex(b, []byte(sumField))
			return append(b[:i:i], "}\n"...)
		}, true, 3},
		{"garbage line", func(b []byte) []byte { return append([]byte("hello\n"), b...) }, true, 0},
		{"empty", func(b []byte) []byte { return nil }, false, 0},
	} {
		t.Run(c.name, func(t *testing.T) { damaged(t, c.damage, c.broken, c.events) })
	}
}

func damaged(t *testing.T, damage func([]byte) []byte, broken bool, want int) {
	dir := t.TempDir()
	write(t, dir, 4)
	path := filepath.Join(dir, JournalName)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, damage(b), 0o600); err != nil {
		t.Fatal(err)
	}
	events, _, err := Read(dir)
	if errors.Is(err, ErrBroken) != broken || len(events) != want {
		t.Fatalf("%d events, error %v; want %d, broken %v", len(events), err, want, broken)
	}
	if broken {
		if !strings.Contains(err.Error(), JournalName+":") {
			t.Errorf("error %q does not name file and line", err)
		}
		return
	}
	j, _, err := reopen(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := j.Append(timeline.Event{Kind: timeline.Note}); err != nil {
		t.Fatal(err)
	}
	j.Close()
	if events, tail, err := Read(dir); err != nil || tail.Reason != "" || len(events) != want+1 {
		t.Errorf("after repair: %d events, tail %q, error %v", len(events), tail.Reason, err)
	}
}

// The first format, as a journal of it was written (SHA-256 of the line before,
// in prev), is read, and gone on with in the same way.
func TestFormat1(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, JournalName)
	prev, text := "", ""
	for n := range 3 {
		l := fmt.Sprintf(`{"seq":%d,"at":%d,"kind":"note","prev":%q}`, n+1, n*48000, prev)
		h := sha256.Sum256([]byte(l))
		prev, text = hex.EncodeToString(h[:]), text+l+"\n"
	}
	os.WriteFile(path, []byte(text), 0o600)
	j, r, err := reopen(dir, nil)
	if err != nil || r.Format != 1 || len(r.Events) != 3 {
		t.Fatal(err, r)
	}
	if _, err := j.Append(timeline.Event{Kind: timeline.Note}); err != nil {
		t.Fatal(err)
	}
	j.Close()
	b, _ := os.ReadFile(path)
	if !strings.HasSuffix(string(b), `"prev":"`+prev+"\"}\n") || strings.Contains(string(b), "sum") {
		t.Errorf("%s", b)
	}
	os.WriteFile(path, bytes.Replace(b, []byte("48000"), []byte("48001"), 1), 0o600)
	if _, _, err := Read(dir); !errors.Is(err, ErrBroken) {
		t.Errorf("an edited line: %v", err)
	}
}

// A journal of a newer format is read as far as it is understood, and nothing
// is added to it.
func TestNewerFormat(t *testing.T) {
	dir := t.TempDir()
	sum, text := "", ""
	for n, l := range []string{
		`{"seq":1,"at":0,"kind":"session.open","session":{"wall":"2031-01-01T00:00:00Z","rate":48000,"software":"x",` +
			`"protocol":"x","vocabulary":"x","recogniser":"x","source":"x","caution":"x","room":"3"},"format":3}`,
		`{"seq":2,"at":48000,"kind":"note","mood":"calm"}`,
	} {
		sum = digest(sum, []byte(l))
		text += string(withSum([]byte(l), sum)) + "\n"
		os.WriteFile(filepath.Join(dir, JournalName), []byte(text), 0o600)
		if r, err := Open(dir); err != nil || len(r.Events) != n+1 || len(r.Unknown) != n+1 {
			t.Fatalf("%v %+v", err, r)
		}
	}
	r, _ := Open(dir)
	if strings.Join(r.Unknown, " ") != `"room" "mood"` || r.Format != 3 {
		t.Errorf("%v, format %d", r.Unknown, r.Format)
	}
	if _, _, err := reopen(dir, nil); err == nil || !strings.Contains(err.Error(), "newer") {
		t.Errorf("%v", err)
	}
	if b, _ := os.ReadFile(filepath.Join(dir, JournalName)); string(b) != text {
		t.Error("the journal was changed")
	}
	broken := strings.Replace(text, "calm", "glum", 1)
	if _, err := parse(strings.NewReader(broken), "x"); !errors.Is(err, ErrBroken) ||
		!strings.Contains(err.Error(), "newer") {
		t.Errorf("%v", err)
	}
}

// The journal gives numbers in one place, and takes none out of turn.
func TestNumbersOutOfTurn(t *testing.T) {
	dir := t.TempDir()
	write(t, dir, 2)
	j, _, err := reopen(dir, nil)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	for _, seq := range []uint64{1, 2, 4, 1 << 63} {
		if _, err := j.Append(timeline.Event{Seq: seq, Kind: timeline.Note}); err == nil {
			t.Errorf("number %d was taken for 3", seq)
		}
	}
	if e, err := j.Append(timeline.Event{Seq: 3, Kind: timeline.Note}); err != nil || e.Seq != 3 {
		t.Error(err)
	}
	if e, err := j.Append(timeline.Event{Kind: timeline.Note}); err != nil || e.Seq != 4 {
		t.Error(err)
	}
}

// Whatever a hostile journal holds, no character that steers a terminal or
// turns text around comes out of it.
func TestHostileWords(t *testing.T) {
	dir := t.TempDir()
	j, err := Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	evil := "\x1b]0;owned\a\u009b2J\u202egnp.exe\nnext\x00"
	for _, e := range []timeline.Event{
		{Kind: timeline.SessionOpen,
			Session: &timeline.Session{Wall: "2026-03-01T14:00:00Z", Rate: timeline.Rate, Recogniser: evil, Source: evil}},
		{Kind: timeline.Kind("drug." + evil), Text: evil, Values: map[string]float64{evil: 1}, Heard: &timeline.Heard{Text: evil}},
		{Kind: timeline.Note, Amend: &timeline.Amendment{By: evil, Reason: evil}},
	} {
		if _, err := j.Append(e); err != nil {
			t.Fatal(err)
		}
	}
	j.Close()
	events, _, err := Read(dir)
	if err != nil || len(events) != 3 {
		t.Fatal(err)
	}
	var seen []string
	for _, e := range events {
		seen = append(seen, e.Describe(), e.Words())
		if e.Session != nil {
			seen = append(seen, e.Session.Recogniser, e.Session.Source)
		}
		if e.Heard != nil {
			seen = append(seen, e.Heard.Text)
		}
		if e.Amend != nil {
			seen = append(seen, e.Amend.By, e.Amend.Reason)
		}
	}
	for _, s := range seen {
		if strings.ContainsFunc(s, unprintable) {
			t.Errorf("%q", s)
		}
	}
}

// Whatever a journal holds, what is read of it says what it was written as: its
// lines give the same sums again.
func FuzzJournal(f *testing.F) {
	f.Add([]byte(`{"seq":1,"at":0,"kind":"note","prev":""}` + "\n"))
	f.Add([]byte("{}\n{}\n"))
	for _, l := range []string{`{"seq":1,"at":0,"kind":"note","format":2}`,
		`{"sound":{"from":0,"until":5,"sha256":"x"},"format":2}`, `{"seq":1,"kind":"x","format":9,"new":{}}`} {
		f.Add(append(withSum([]byte(l), digest("", []byte(l))), '\n'))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := parse(bytes.NewReader(b), "x")
		if err == nil && r.Tail.Bytes == 0 && len(r.lines) != bytes.Count(b, []byte("\n")) {
			t.Errorf("%d lines from %d", len(r.lines), bytes.Count(b, []byte("\n")))
		}
		if err == nil && int(r.size())+r.Tail.Bytes != len(b) {
			t.Errorf("%d and %d bytes of %d", r.size(), r.Tail.Bytes, len(b))
		}
		r.check()
		timeline.Fold(r.Events)
	})
}

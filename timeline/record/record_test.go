package record

import (
	"bytes"
	"crypto/ed25519"
	"encoding/binary"
	"encoding/json"
	"errors"
	"io"
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

var wall = time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC)

// begin starts a record as a session does.
func begin(t testing.TB, dir string) *Writer {
	t.Helper()
	w, err := Begin(dir, wall)
	if err != nil {
		t.Fatal(err)
	}
	add(t, w.Journal, timeline.Event{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: wall.Format(time.RFC3339Nano), Rate: timeline.Rate}})
	return w
}

func add(t testing.TB, j *Journal, e timeline.Event) timeline.Event {
	t.Helper()
	e, err := j.Append(e)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// play writes seconds of sound that never repeats, with a callout each second.
func play(t testing.TB, w *Writer, seconds int) {
	t.Helper()
	room, speaker := make([]float32, audio.Block), make([]float32, audio.Block)
	for range seconds {
		for range 100 {
			at := w.Sound.Pos()
			for i := range room {
				x := uint32(at+int64(i)) * 2654435761
				room[i], speaker[i] = float32(x>>16)/65536-0.5, float32(x&0xffff)/65536-0.5
			}
			if err := w.Sound.Write(room, speaker); err != nil {
				t.Fatal(err)
			}
		}
		add(t, w.Journal, timeline.Event{At: timeline.Time(w.Sound.Pos()), Kind: timeline.ShockGiven, Values: map[string]float64{"energy_j": 200}})
	}
}

func end(t testing.TB, w *Writer) {
	t.Helper()
	if err := w.Sound.Close(); err != nil {
		t.Fatal(err)
	}
	add(t, w.Journal, timeline.Event{At: timeline.Time(w.Sound.Pos()), Kind: timeline.SessionClose})
	if err := w.Journal.Close(); err != nil {
		t.Fatal(err)
	}
}

// finished is a whole record of so many seconds.
func finished(t testing.TB, seconds int) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "2026-03-01T140000")
	w := begin(t, dir)
	play(t, w, seconds)
	end(t, w)
	return dir
}

// verified opens and verifies.
func verified(dir string) (Proof, error) {
	r, err := Open(dir)
	if err != nil {
		return Proof{}, err
	}
	return r.Verify()
}

func edit(t *testing.T, path string, change func([]byte) []byte) {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, change(b), 0o600); err != nil {
		t.Fatal(err)
	}
}

// Without any key: what somebody did to the sound shows, and where.
func TestSoundIsInTheChain(t *testing.T) {
	const second = 4 * audio.Rate
	head := int(headerOf(t))
	resize := func(b []byte, data int) []byte { // make the header agree, as an editor would
		binary.LittleEndian.PutUint32(b[head-4:], uint32(data))
		binary.LittleEndian.PutUint32(b[4:], uint32(len(b)-8))
		return b
	}
	for _, c := range []struct {
		name string
		do   func(b []byte) []byte
		want string
	}{
		{"untouched", func(b []byte) []byte { return b }, ""},
		{"a label edited", func(b []byte) []byte { return bytes.Replace(b, []byte("shock.given"), []byte("shock.taken"), 1) }, ""},
		{"one sample silenced", func(b []byte) []byte { clear(b[head+12*second : head+12*second+4]); return b }, "between 0:10.0 and 0:20.0 is not what was recorded"},
		{"the last sample silenced", func(b []byte) []byte { clear(b[head+25*second-4 : head+25*second]); return b }, "between 0:20.0 and 0:25.0"},
		{"two stretches swapped", func(b []byte) []byte {
			one, two := bytes.Clone(b[head:head+10*second]), bytes.Clone(b[head+10*second:head+20*second])
			copy(b[head:], two)
			copy(b[head+10*second:], one)
			return b
		}, "between 0:00.0 and 0:10.0"},
		{"channels swapped", func(b []byte) []byte {
			for i := head; i < head+second; i += 4 {
				b[i], b[i+1], b[i+2], b[i+3] = b[i+2], b[i+3], b[i], b[i+1]
			}
			return b
		}, "between 0:00.0 and 0:10.0"},
		{"a second cut out", func(b []byte) []byte {
			return resize(append(b[:head+5*second:head+5*second], b[head+6*second:]...), 24*second)
		}, "between 0:00.0 and 0:10.0"},
		{"the last second cut off", func(b []byte) []byte {
			return resize(append(b[:head+24*second:head+24*second], b[head+25*second:]...), 24*second)
		}, "1s of audio were cut off"},
		{"a second added at the end", func(b []byte) []byte {
			more := append(bytes.Clone(b[:head+25*second]), make([]byte, second)...)
			return resize(append(more, b[head+25*second:]...), 26*second)
		}, "the audio from 0:25.0 on is not in the journal"},
	} {
		dir := finished(t, 25)
		edit(t, filepath.Join(dir, recorder.PartName(0)), c.do)
		p, err := verified(dir)
		switch {
		case c.want == "" && (err != nil || p.Hashed != p.Samples || p.Samples != 25*audio.Rate):
			t.Errorf("%s: %v %+v", c.name, err, p)
		case c.want != "" && (err == nil || !strings.Contains(err.Error(), c.want)):
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

// headerOf is where the samples of a part begin.
func headerOf(t testing.TB) int64 {
	dir := t.TempDir()
	r, err := recorder.New(dir, wall, "x")
	if err != nil {
		t.Fatal(err)
	}
	r.Checkpoint()
	st, err := os.Stat(filepath.Join(dir, recorder.PartName(0)))
	if err != nil {
		t.Fatal(err)
	}
	return st.Size()
}

// Without any key: what stands behind the end of a session can only be an
// amendment, however well its line follows the others.
func TestNothingFollowsTheEnd(t *testing.T) {
	amended := func(e timeline.Event) timeline.Event {
		e.Amend = &timeline.Amendment{By: "AB", Reason: "monitor log", Wall: "2026-03-02T09:00:00Z"}
		return e
	}
	for _, c := range []struct {
		name string
		e    timeline.Event
		ok   bool
	}{
		{"a shock as if called", timeline.Event{Kind: timeline.ShockGiven}, false},
		{"a second end", timeline.Event{Kind: timeline.SessionClose}, false},
		{"a second session", timeline.Event{Kind: timeline.SessionOpen, Session: &timeline.Session{}}, false},
		{"an end as an amendment", amended(timeline.Event{Kind: timeline.SessionClose}), false},
		{"a fault as an amendment", amended(timeline.Event{Kind: timeline.Fault}), false},
		{"an amendment without initials", timeline.Event{Kind: timeline.ShockGiven, Amend: &timeline.Amendment{Reason: "x"}}, false},
		{"an amendment without a reason", timeline.Event{Kind: timeline.ShockGiven, Amend: &timeline.Amendment{By: "AB"}}, false},
		{"the end taken back", amended(timeline.Event{Kind: timeline.Retraction, Retracts: 5}), false},
		{"what comes later taken back", amended(timeline.Event{Kind: timeline.Retraction, Retracts: 99}), false},
		{"a number beyond all bounds", amended(timeline.Event{Kind: timeline.ShockGiven, Values: map[string]float64{"energy_j": 1e9}}), false},
		{"an amendment", amended(timeline.Event{Kind: timeline.ShockGiven}), true},
		{"a shock taken back", amended(timeline.Event{Kind: timeline.Retraction, Retracts: 3}), true},
	} {
		dir := finished(t, 3)
		j, _, err := reopen(dir, nil)
		if err != nil {
			t.Fatal(err)
		}
		add(t, j, c.e)
		j.Close()
		if _, err := verified(dir); (err == nil) != c.ok || err != nil && !errors.Is(err, ErrBroken) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

func keyPair(t testing.TB) (ed25519.PrivateKey, ed25519.PublicKey) {
	t.Helper()
	pub, priv, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	return priv, pub
}

func opened(t testing.TB, dir string) *Record {
	t.Helper()
	r, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// With a key: every change within what was signed shows; amendments behind it
// are told apart by who signed them; signing again covers them.
func TestSignature(t *testing.T) {
	dir := finished(t, 3)
	room, roomPub := keyPair(t)
	reviewer, reviewerPub := keyPair(t)
	if err := opened(t, dir).Sign(room); err != nil {
		t.Fatal(err)
	}
	change := timeline.Change{Do: "retract", Seq: 3, By: "AB", Reason: "was a question"}
	if err := Amend(dir, change, wall, reviewer); err != nil {
		t.Fatal(err)
	}
	change = timeline.Change{Do: "add", Kind: timeline.AccessIO, At: 48000, By: "CD", Reason: "seen by two"}
	if err := Amend(dir, change, wall, nil); err != nil {
		t.Fatal(err)
	}
	r := opened(t, dir)
	if u, err := r.CheckSignature(roomPub, reviewerPub); err != nil || len(u) != 1 || u[0].Amend.By != "CD" {
		t.Errorf("with both keys: %v %v", u, err)
	}
	if u, err := r.CheckSignature(roomPub); err != nil || len(u) != 2 {
		t.Errorf("with the room's key: %v %v", u, err)
	}
	if m := r.Unsigned(); len(m) != 1 || !m[7] {
		t.Errorf("a page marks %v as unsigned", m)
	}
	if err := r.Sign(reviewer); err == nil {
		t.Error("another key took the place of the room's")
	}
	if err := r.Sign(room); err != nil {
		t.Fatal(err)
	}
	if u, err := opened(t, dir).CheckSignature(roomPub); err != nil || len(u) != 0 || len(opened(t, dir).Unsigned()) != 0 {
		t.Errorf("signed again: %v %v", u, err)
	}
	if _, err := r.CheckSignature(reviewerPub); err == nil {
		t.Error("holds with a key that did not make it")
	}
}

// A signature of an amendment holds in its place only: moved to another record
// or changed, it is none.
func TestSignedAmendmentsAreNotMoved(t *testing.T) {
	key, pub := keyPair(t)
	one, two := finished(t, 3), finished(t, 4)
	for _, dir := range []string{one, two} {
		if err := opened(t, dir).Sign(key); err != nil {
			t.Fatal(err)
		}
	}
	if err := Amend(one, timeline.Change{Do: "retract", Seq: 2, By: "AB", Reason: "x"}, wall, key); err != nil {
		t.Fatal(err)
	}
	stolen := opened(t, one).Events[5]
	for _, change := range []func(*timeline.Event){
		func(*timeline.Event) {}, func(e *timeline.Event) { e.Amend.Reason = "y" }, func(e *timeline.Event) { e.Amend.By = "CD" },
	} {
		e, a := stolen, *stolen.Amend
		e.Amend, e.Seq = &a, 0
		change(&e)
		dir := filepath.Join(t.TempDir(), "copy")
		os.CopyFS(dir, os.DirFS(two))
		j, _, err := reopen(dir, nil)
		if err != nil {
			t.Fatal(err)
		}
		add(t, j, e)
		j.Close()
		if u, err := opened(t, dir).CheckSignature(pub); err != nil || len(u) != 1 {
			t.Errorf("%v %v", u, err)
		}
	}
}

// Every byte of every file, and files lost or added, are under the signature.
func TestSignatureShowsEveryChange(t *testing.T) {
	key, pub := keyPair(t)
	dir := finished(t, 2)
	if err := opened(t, dir).Sign(key); err != nil {
		t.Fatal(err)
	}
	check := func() error {
		r, err := Open(dir)
		if err != nil {
			return err
		}
		_, err = r.CheckSignature(pub)
		return err
	}
	if err := check(); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{JournalName, recorder.PartName(0), signatureName} {
		path := filepath.Join(dir, name)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for i := 7; i < len(whole); i += 1 + len(whole)/97 {
			b := bytes.Clone(whole)
			if name == signatureName { // its layout and the key's name may change
				i = max(i, bytes.Index(b, []byte(`"signed": "`))+11)
				if i > bytes.Index(b, []byte(`"key"`))-8 {
					break
				}
			}
			b[i] ^= 1
			os.WriteFile(path, b, 0o600)
			if err := check(); err == nil {
				t.Errorf("byte %d of %s was changed and nothing shows", i, name)
			}
		}
		os.WriteFile(path, whole, 0o600)
	}
	os.WriteFile(filepath.Join(dir, recorder.PartName(1)), nil, 0o600)
	if check() == nil {
		t.Error("a part was added and nothing shows")
	}
	os.Remove(filepath.Join(dir, recorder.PartName(1)))
	os.Remove(filepath.Join(dir, recorder.PartName(0)))
	if check() == nil {
		t.Error("a part was lost and nothing shows")
	}
}

// A fingerprint that somebody noted tells what came after it.
func TestFingerprint(t *testing.T) {
	dir := finished(t, 3)
	p, err := verified(dir)
	if err != nil || p.Fingerprint == "" || p.Fingerprint != p.Closed {
		t.Fatal(err, p)
	}
	if err := Amend(dir, timeline.Change{Do: "retract", Seq: 2, By: "AB", Reason: "x"}, wall, nil); err != nil {
		t.Fatal(err)
	}
	q, err := verified(dir)
	if err != nil || q.Closed != p.Closed || q.Fingerprint == p.Fingerprint || q.Amendments != 1 {
		t.Errorf("%v %+v", err, q)
	}
	if later, ok := opened(t, dir).Since(p.Fingerprint); !ok || len(later) != 1 || later[0].Retracts != 2 {
		t.Errorf("%v %v", later, ok)
	}
	if _, ok := opened(t, finished(t, 2)).Since(p.Fingerprint); ok {
		t.Error("another record has this fingerprint")
	}
}

// The bounds of an amendment are the same however it comes.
func TestAmendBounds(t *testing.T) {
	dir := finished(t, 3)
	good := timeline.Change{Do: "add", Kind: timeline.AccessIO, At: 48000, By: "AB", Reason: "seen"}
	for name, c := range map[string]func(*timeline.Change){
		"initials too long":   func(c *timeline.Change) { c.By = "ABCDEFGHI" },
		"initials that steer": func(c *timeline.Change) { c.By = "A\x1b[2J" },
		"no reason":           func(c *timeline.Change) { c.Reason = " \n " },
		"reason that steers":  func(c *timeline.Change) { c.Reason = "a\x07b" },
		"reason turned round": func(c *timeline.Change) { c.Reason = "a\u202eb" },
		"reason of 501":       func(c *timeline.Change) { c.Reason = strings.Repeat("x", 501) },
		"no callout":          func(c *timeline.Change) { c.Kind = timeline.SessionClose },
		"kind that steers":    func(c *timeline.Change) { c.Kind = "drug.\x1b[2J" },
		"kind too long":       func(c *timeline.Change) { c.Kind = timeline.Kind("drug." + strings.Repeat("x", 64)) },
		"outside the record":  func(c *timeline.Change) { c.At = 1 << 40 },
		"before the record":   func(c *timeline.Change) { c.At = -1 },
		"nine numbers": func(c *timeline.Change) {
			c.Values = map[string]float64{}
			for i := range 9 {
				c.Values["n"+strconv.Itoa(i)] = 1
			}
		},
		"a huge number":    func(c *timeline.Change) { c.Values = map[string]float64{"dose_mg": 1e7} },
		"a negative one":   func(c *timeline.Change) { c.Values = map[string]float64{"dose_mg": -1} },
		"a slot of spaces": func(c *timeline.Change) { c.Values = map[string]float64{"a b": 1} },
		"nothing to do":    func(c *timeline.Change) { c.Do = "" },
	} {
		bad := good
		c(&bad)
		if err := Amend(dir, bad, wall, nil); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	if err := Amend(dir, good, wall, nil); err != nil {
		t.Error(err)
	}
	if err := Amend(filepath.Join(t.TempDir(), "none"), good, wall, nil); err == nil {
		t.Error("no record was amended")
	}
}

// While somebody writes a record, nobody else does: not mend, not an amendment,
// not a session that would go on with it.
func TestOneWriter(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "r")
	w := begin(t, dir)
	play(t, w, 1)
	before, _ := os.ReadFile(filepath.Join(dir, recorder.PartName(0)))
	_, mend := Mend(dir)
	_, resume := opened(t, dir).Resume(wall)
	for what, err := range map[string]error{"mend": mend, "resume": resume} {
		if err == nil || !strings.Contains(err.Error(), "another coxswain is writing") {
			t.Errorf("%s: %v", what, err)
		}
	}
	if b, _ := os.ReadFile(filepath.Join(dir, recorder.PartName(0))); !bytes.Equal(b, before) {
		t.Error("the sound was touched")
	}
	end(t, w)
	if _, err := verified(dir); err != nil {
		t.Error(err)
	}
	release, err := LockFolder(filepath.Dir(dir))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := LockFolder(filepath.Dir(dir)); err == nil {
		t.Error("two daemons on one folder")
	}
	release()
}

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
	if err != nil || p.Hashed != p.Samples || p.Samples != w.Sound.Pos() {
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

// A disk that fails for a while: the journal then says what is really there.
func TestSoundAfterAFailure(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "r")
	w := begin(t, dir)
	play(t, w, 4)
	w.Sound.doubt = true // as a failed write leaves it
	f, err := os.OpenFile(filepath.Join(dir, recorder.PartName(0)), os.O_RDWR, 0)
	if err != nil {
		t.Fatal(err)
	}
	f.WriteAt(make([]byte, 4800), headerOf(t)+9000) // what was lost is silence
	f.Close()
	play(t, w, 8)
	end(t, w)
	if p, err := verified(dir); err != nil || p.Hashed != 12*audio.Rate {
		t.Errorf("%v %+v", err, p)
	}
}

// What was heard before the session began is written first: the record and its
// clock begin with it.
func TestSoundFromBefore(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "r")
	w, err := Begin(dir, wall.Add(-90*time.Second))
	if err != nil {
		t.Fatal(err)
	}
	before := make([]float32, 90*audio.Rate)
	before[0] = 0.5
	if err := w.Sound.Write(before, before); err != nil || w.Sound.Pos() != 90*audio.Rate {
		t.Fatal(err)
	}
	add(t, w.Journal, timeline.Event{At: 90 * timeline.Rate, Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: wall.Add(-90 * time.Second).Format(time.RFC3339Nano)}})
	play(t, w, 1)
	end(t, w)
	if p, err := verified(dir); err != nil || p.Samples != 91*audio.Rate {
		t.Errorf("%v %+v", err, p)
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
		within := 10 * time.Minute
		if strings.Contains(c.name, "set back") {
			within = 2 * time.Hour
		}
		records := t.TempDir()
		c.make(t, records)
		name := ""
		if r := FindCut(records, now, within); r != nil {
			name = r.Name()
		}
		if name != c.want {
			t.Errorf("%s: %q, want %q", c.name, name, c.want)
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
	add(t, w.Journal, timeline.Event{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: at.Format(time.RFC3339Nano)}})
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

// Two sessions that begin within a second each get a folder.
func TestFoldersWithinASecond(t *testing.T) {
	records := filepath.Join(t.TempDir(), "records")
	for _, want := range []string{"2026-03-01T140000", "2026-03-01T140000-2", "2026-03-01T140000-3"} {
		dir, err := NewFolder(records, wall)
		if err != nil || filepath.Base(dir) != want {
			t.Errorf("%s %v, want %s", dir, err, want)
		}
	}
	old, err := OlderThan(records, wall.AddDate(1, 0, 0))
	if err != nil || len(old) != 3 {
		t.Errorf("%v %v", old, err)
	}
}

// Links in a record's folder lead nowhere: nothing outside is read or written.
func TestLinksInARecord(t *testing.T) {
	outside := filepath.Join(t.TempDir(), "victim")
	for _, name := range []string{peaksName, JournalName + ".broken", recorder.PartName(0), JournalName, signatureName} {
		os.WriteFile(outside, []byte("precious"), 0o600)
		dir := filepath.Join(t.TempDir(), "r")
		w := begin(t, dir)
		play(t, w, 1)
		cutOff(t, w)
		edit(t, filepath.Join(dir, JournalName), func(b []byte) []byte { return append(b, `{"seq":`...) })
		os.Remove(filepath.Join(dir, name))
		if err := os.Symlink(outside, filepath.Join(dir, name)); err != nil {
			t.Skip(err)
		}
		key, _ := keyPair(t)
		if r, err := Open(dir); err == nil {
			r.Peaks()
		}
		Mend(dir)
		Amend(dir, timeline.Change{Do: "retract", Seq: 2, By: "AB", Reason: "x"}, wall, nil)
		if r, err := Open(dir); err == nil {
			r.Sign(key)
			r.Peaks()
		}
		if b, _ := os.ReadFile(outside); string(b) != "precious" {
			t.Errorf("through %s the file outside became %q", name, b)
		}
	}
}

// Peaks are those of the samples, and are made anew when the file is not theirs.
func TestPeaks(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "r")
	w := begin(t, dir)
	room, speaker := make([]float32, 4800), make([]float32, 4800)
	for k := range 25 {
		room[7], speaker[9] = float32(k)/25, -1
		if err := w.Sound.Write(room, speaker); err != nil {
			t.Fatal(err)
		}
	}
	end(t, w)
	for _, kept := range []string{"", "kept", "stale"} {
		switch kept {
		case "stale":
			os.WriteFile(filepath.Join(dir, peaksName), []byte("xx"), 0o600)
		case "kept":
			edit(t, filepath.Join(dir, peaksName), func(b []byte) []byte { b[0] = 77; return b })
		}
		b, err := opened(t, dir).Peaks()
		if err != nil || len(b) != 50 || (b[0] == 77) != (kept == "kept") {
			t.Fatalf("%q: %v %v", kept, b, err)
		}
		for k := range 25 {
			want := byte(int(audio.PCM16(float32(k)/25)) >> 8)
			if kept != "kept" && b[2*k] != want || b[2*k+1] != 127 {
				t.Errorf("%q: at %d: %d %d, want %d 127", kept, k, b[2*k], b[2*k+1], want)
			}
		}
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
	w, err := FindCut(records, wall.Add(5*time.Second), time.Minute).Resume(wall.Add(5 * time.Second))
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

func FuzzSignature(f *testing.F) {
	f.Add([]byte(`{"signed":"e30=","signature":"AA==","key":"00"}`), []byte(`{"files":[{"name":"events.jsonl","size":3,"sha256":"00"}]}`))
	f.Add([]byte(`{}`), []byte(`{"files":[{"name":"../x","size":-1}]}`))
	f.Fuzz(func(t *testing.T, s, m []byte) {
		parseSignature(s)
		got, err := parseManifest(m)
		for _, file := range got.Files {
			if err == nil && (strings.Contains(file.Name, "/") || file.Size < 0) {
				t.Errorf("%+v was taken", file)
			}
		}
	})
}

// Whatever a tar archive holds, it makes no file outside the folder, and
// unpacks to what it claims at most.
func FuzzUnpack(f *testing.F) {
	for _, name := range []string{"events.jsonl", "../x", "/etc/x", "a/b", ".."} {
		f.Add(tarOf(name, []byte("x")))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		unpack(bytes.NewReader(data), func(name string) (io.WriteCloser, error) {
			if name == "" || name == "." || name == ".." || strings.ContainsAny(name, "/") || strings.HasPrefix(name, ".") {
				t.Errorf("a file %q is made", name)
			}
			return nothing{}, nil
		})
	})
}

// nothing is a file that keeps nothing.
type nothing struct{}

func (nothing) Write(b []byte) (int, error) { return len(b), nil }
func (nothing) Close() error                { return nil }

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
		if err != nil {
			t.Fatal(err)
		}
		r := FindCut(records, wall.Add(30*time.Second), 10*time.Minute)
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
	w, err := FindCut(records, wall.Add(-time.Hour), 2*time.Hour).Resume(wall.Add(-time.Hour))
	if err != nil || w.Pos != 6*audio.Rate || w.Had != 6*audio.Rate {
		t.Errorf("%v: resumed at %v of 6 s", err, audio.Duration(w.Pos))
	}
}

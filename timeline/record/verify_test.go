package record

import (
	"bytes"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

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
		{"one sample silenced", func(b []byte) []byte { clear(b[head+12*second : head+12*second+4]); return b },
			"between 0:10.0 and 0:20.0 is not what was recorded"},
		{"the last sample silenced", func(b []byte) []byte { clear(b[head+25*second-4 : head+25*second]); return b },
			"between 0:20.0 and 0:25.0"},
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

// A header that makes a player play something else than what was recorded, at
// another rate, say, is found, and mended: then a signature holds as before.
func TestHeaderOfTheSound(t *testing.T) {
	key, public := keyPair(t)
	for _, c := range []struct {
		name string
		at   int // offsets as in RIFF (1991): channels 22, rate 24, bits 34
		to   byte
		want string
	}{
		{"one channel", 22, 1, "1 channels"},
		{"another rate", 25, 0x5d, "at 23936 Hz"},
		{"8 bits", 34, 8, "of 8 bits"},
		{"another format", 20, 6, "format 6"},
		{"another block", 32, 2, "its header speaks of"},
		{"a longer description", 40, 0, "its header speaks of"},
		{"no data", int(headerOf(t)) - 8, 'D', "its header speaks of"},
	} {
		dir := finished(t, 3)
		if err := opened(t, dir).Sign(key); err != nil {
			t.Fatal(err)
		}
		edit(t, filepath.Join(dir, recorder.PartName(0)), func(b []byte) []byte { b[c.at] = c.to; return b })
		if _, err := verified(dir); err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "mend") {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
		if _, err := Mend(dir); err != nil {
			t.Errorf("%s: mend: %v", c.name, err)
		}
		if _, err := verified(dir); err != nil {
			t.Errorf("%s: after mend: %v", c.name, err)
		}
		if _, err := opened(t, dir).CheckSignature(public); err != nil {
			t.Errorf("%s: after mend: %v", c.name, err)
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
		{"a second session", timeline.Event{Kind: timeline.SessionOpen, Session: &timeline.Session{Rate: timeline.Rate}}, false},
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

// A fingerprint that somebody noted tells what came after it.
func TestFingerprint(t *testing.T) {
	dir := finished(t, 3)
	p, err := verified(dir)
	if err != nil || p.Fingerprint == "" || p.Fingerprint != p.Closed {
		t.Fatal(err, p)
	}
	if err := Amend(dir, timeline.Change{Do: "retract", Seq: 2, By: "AB", Reason: "x"}, nil, wall, nil); err != nil {
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
	add(
		t,
		w.Journal,
		timeline.Event{
			At:      90 * timeline.Rate,
			Kind:    timeline.SessionOpen,
			Session: &timeline.Session{Wall: wall.Add(-90 * time.Second).Format(time.RFC3339Nano), Rate: timeline.Rate},
		},
	)
	play(t, w, 1)
	end(t, w)
	if p, err := verified(dir); err != nil || p.Samples != 91*audio.Rate {
		t.Errorf("%v %+v", err, p)
	}
}

// BenchmarkChain is what the chain costs for ten seconds of sound: its hash and
// its line in the journal, beside the sound that is written in any case.
func BenchmarkChain(b *testing.B) {
	for _, chained := range []bool{false, true} {
		name := map[bool]string{false: "sound", true: "sound and chain"}[chained]
		b.Run(name, func(b *testing.B) {
			w := begin(b, filepath.Join(b.TempDir(), "r"))
			block := make([]float32, 10*audio.Block)
			for b.Loop() {
				for range 100 {
					var err error
					if chained {
						err = w.Sound.Write(block, block)
					} else {
						err = w.Sound.Recorder.Write(block, block)
					}
					if err != nil {
						b.Fatal(err)
					}
				}
			}
		})
	}
}

// BenchmarkVerifyHour is what it takes to verify an hour.
func BenchmarkVerifyHour(b *testing.B) {
	dir := cutRecord(b, b.TempDir(), "r", wall, 3600)
	r, err := Mend(dir)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := r.Verify(); err != nil {
			b.Fatal(err)
		}
	}
}

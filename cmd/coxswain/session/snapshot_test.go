package session

import (
	"fmt"
	"math"
	"testing"
	"time"

	"coxswain/timeline"
)

// What whoever looks from outside sees of a case, second by second: the state in
// one word, what was last called, and for how long it was not understood.
func TestSnapshots(t *testing.T) {
	if testing.Short() {
		t.Skip("a minute of sound, and the goroutines of a bad day")
	}
	o := testOptions(t, t.TempDir()+"/r", mayBe("code.start", 2, 0.9), mayBe("compressions.start", 4, 0.9),
		mayBe("airway.secured", 10, 0.3), mayBe("airway.secured", 14, 0.4), mayBe("access.iv", 20, 0.35),
		mayBe("rhythm.check", 30, 0.9), mayBe("shock.clear", 34, 0.9), mayBe("shock.given", 36, 0.9),
		mayBe("compressions.start", 38, 0.9), mayBe("rosc", 50, 0.95))
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	at := func(second int) string {
		quiet(s, float64(second)+0.5)
		n, unclear, last := s.Latest().Load(), "understood", "nothing"
		if n.Unclear != nil {
			unclear = fmt.Sprintf("unclear for %d s", int(*n.Unclear))
		}
		if len(n.Last) > 0 {
			last = n.Last[0].Text
		}
		return fmt.Sprintf("%s, %s, %s", n.State, last, unclear)
	}
	for _, c := range []struct {
		second int
		want   string
	}{
		{1, "no code yet, nothing, understood"},
		{5, "compressing, compressions started, understood"},
		{12, "compressing, compressions started, unclear for 2 s"},
		{16, "compressing, airway secured, understood"},
		{29, "compressing, airway secured, unclear for 9 s"},
		{32, "hands off, rhythm check, understood"},
		{35, "clear, everybody clear, understood"},
		{37, "hands off, shock given, understood"},
		{40, "compressing, compressions started, understood"},
		{52, "pulse present, ROSC, understood"},
	} {
		if got := at(c.second); got != c.want {
			t.Errorf("at %d s: %q, want %q", c.second, got, c.want)
		}
	}
}

// The wall's first line is what "what is next" is answered with, if that is to be done
// at once: the shock, hands on the chest; and what is overdue does not vanish.
func TestFirstThingDue(t *testing.T) {
	if testing.Short() {
		t.Skip("a minute of sound, and the goroutines of a bad day")
	}
	s, err := New(testOptions(t, t.TempDir()+"/r", mayBe("code.start", 2, 0.9), mayBe("compressions.start", 4, 0.9),
		mayBe("rhythm.vf", 10, 0.9), mayBe("compressions.stop", 20, 0.9), mayBe("compressions.start", 24, 0.9),
		mayBe("shock.given", 30, 0.9), mayBe("compressions.start", 32, 0.9), mayBe("rhythm.pea", 40, 0.9)))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, c := range []struct {
		second int
		want   string
		in     float64 // at most
	}{
		{6, "Rhythm check", 120}, // no order before its moment
		{12, "Shock 200 J", 0},
		{22, "Shock 200 J. Compress until it is ready", 0}, // a rhythm to shock, and hands off
		{26, "Shock 200 J", 0},
		{110, "Consider epinephrine 1 mg", -60},
	} {
		quiet(s, float64(c.second)+0.5)
		if due := s.Latest().Load().Due; len(due) == 0 || due[0].Text != c.want || due[0].In > c.in {
			t.Errorf("at %d s: %+v, want %q first", c.second, due, c.want)
		}
	}
}

// How much of the sound was lost of late is a share of the last half minute, however
// it was lost, and passes with it.
func TestLosses(t *testing.T) {
	var l losses
	near := func(what string, now time.Duration, want float64) {
		t.Helper()
		if got := l.share(now); math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	near("at the start", time.Second, 0)
	for s := range 60 { // 300 ms of each second
		l.add(300*time.Millisecond, time.Duration(s)*time.Second+100*time.Millisecond)
	}
	near("a starved machine", 59*time.Second, 0.3)
	near("15 s later", 74*time.Second, 0.15)
	near("an hour later", time.Hour, 0)
	l.add(6*time.Second, time.Hour+6*time.Second)
	near("a device that was gone for 6 s", time.Hour+6*time.Second, 0.2)
	l.add(time.Hour, 2*time.Hour)
	near("gone for an hour", 2*time.Hour, 1)
}

// A stream that dies again and again is given longer each time; one that held, or had ended, is not.
func TestWatchdogBacksOff(t *testing.T) {
	var w watchdog
	now := time.Minute
	for k, want := range []time.Duration{250, 500, 1000, 2000, 4000, 4000} {
		if w.back(now, false); w.patience() != want*time.Millisecond {
			t.Errorf("after death %d it waits %v, want %v ms", k+1, w.patience(), int64(want))
		}
		now += 5 * time.Second
	}
	if w.back(now+time.Minute, false); w.patience() != silentAfter {
		t.Errorf("after a good minute it waits %v", w.patience())
	}
	for range 3 {
		if w.back(now+time.Minute, true); w.patience() != silentAfter {
			t.Errorf("after one that had ended it waits %v", w.patience())
		}
	}
}

// A session that loses a third of its sound does not call itself well.
func TestLostSoundIsTold(t *testing.T) {
	o := testOptions(t, t.TempDir()+"/r")
	o.Live = true
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, c := range []struct {
		share float64
		want  string
	}{{0.02, "whole"}, {0.31, "31 % lost"}, {0, "whole"}} {
		s.sound, s.lostShare = "whole", c.share
		s.show()
		if n := s.Latest().Load(); n.Sound != c.want || n.Lost != c.share || n.Healthy != (c.want == "whole") {
			t.Errorf("with %v lost: %q, %v, healthy %v", c.share, n.Sound, n.Lost, n.Healthy)
		}
	}
}

// Nobody has both a pulse and a rhythm without one: what was called before is not shown.
func TestRhythmBesideAPulse(t *testing.T) {
	for _, c := range []struct {
		rhythm timeline.Rhythm
		pulse  bool
		want   string
	}{{"VF", false, "VF"}, {"VF", true, ""}, {"PEA", true, ""}, {"VT", true, "VT"}, {"", true, ""}} {
		if got := rhythmText(timeline.State{Rhythm: c.rhythm, PulsePresent: c.pulse}); got != c.want {
			t.Errorf("%q with a pulse %v: %q, want %q", c.rhythm, c.pulse, got, c.want)
		}
	}
}

// What the crew gave before arrival counts on the wall as it does aloud, and has no time that nobody told; of a
// newborn nothing is due, and no cycle runs.
func TestGivenBefore(t *testing.T) {
	s, err := New(testOptions(t, t.TempDir()+"/r", mayBe("code.start", 2, 0.9), mayBe("before.shock", 4, 0.9),
		mayBe("before.epinephrine", 8, 0.9), mayBe("rhythm.vf", 12, 0.9), mayBe("shock.given", 16, 0.9)))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	given := func(second float64) (out []string) {
		quiet(s, second)
		for _, g := range s.Latest().Load().Given {
			ago := fmt.Sprintf("%.0f s ago", g.Ago)
			if g.Before {
				ago = "before arrival"
			}
			out = append(out, fmt.Sprintf("%d %s %s", g.Count, g.Name, ago))
		}
		return out
	}
	if got := fmt.Sprint(given(11)); got != "[1 shock before arrival 1 epinephrine before arrival]" {
		t.Error(got)
	}
	if got := fmt.Sprint(given(20)); got != "[2 shocks 4 s ago 1 epinephrine before arrival]" {
		t.Error(got)
	}
	newborn, err := New(testOptions(t, t.TempDir()+"/r", mayBe("patient.newborn", 2, 0.9), mayBe("compressions.start", 4, 0.9)))
	if err != nil {
		t.Fatal(err)
	}
	defer newborn.Close()
	quiet(newborn, 8)
	if n := newborn.Latest().Load(); !n.Newborn || n.CycleLeft != nil || len(n.Due) > 0 {
		t.Errorf("of a newborn: %+v", n)
	}
}

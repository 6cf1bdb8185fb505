package audio

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

func TestCallbackNeverAllocates(t *testing.T) {
	e := NewExchange(2)
	in, out := make([]float32, Block), make([]float32, Block)
	var f Frame
	if n := testing.AllocsPerRun(1000, func() { e.Callback(in, out); e.Next(&f); e.Send(f.Room[:]) }); n != 0 {
		t.Errorf("%v allocations in a callback", n)
	}
}

// The budget is 10 ms; a tenth of it is 1 ms.
func BenchmarkCallback(b *testing.B) {
	e := NewExchange(2)
	in, out := make([]float32, Block), make([]float32, Block)
	var f Frame
	for b.Loop() {
		e.Callback(in, out)
		e.Next(&f)
		e.Send(f.Room[:])
	}
}

func TestExchangeKeepsOrderAndCountsTrouble(t *testing.T) {
	e := NewExchange(1)
	in, out := make([]float32, Block), make([]float32, Block)
	for k := range Lead { // the lead-in is silence
		e.Callback(in, out)
		if starved, _, _ := e.Troubles(); starved != 0 {
			t.Fatalf("starved at block %d", k)
		}
	}
	e.Callback(in, out)
	if starved, _, _ := e.Troubles(); starved != 1 {
		t.Errorf("%d starved blocks, want 1", starved)
	}
	for range 200 { // nobody takes the room's blocks: they are counted, not waited for
		e.Callback(in, out)
	}
	if _, lost, _ := e.Troubles(); lost == 0 {
		t.Error("a full ring lost nothing")
	}
}

// A flag marks the block that it came with, once; lost blocks mark the next one
// that is there.
func TestGapsAreMarked(t *testing.T) {
	e := NewExchange(1)
	in, out := make([]float32, Block), make([]float32, Block)
	var f Frame
	take := func() (gaps []int) {
		for n := 0; e.Next(&f); n++ {
			if f.Gap {
				gaps = append(gaps, n)
			}
		}
		return gaps
	}
	for n := range 6 {
		if n == 4 {
			e.Flag(true, false)
		}
		e.Callback(in, out)
	}
	if got := take(); !slices.Equal(got, []int{4}) {
		t.Errorf("gaps at blocks %v, want 4", got)
	}
	e.Flag(false, true)
	e.Callback(in, out)
	if got := take(); !slices.Equal(got, []int{0}) {
		t.Errorf("gaps at blocks %v, want 0", got)
	}
	if room, speaker := e.Flags(); room != 1 || speaker != 1 {
		t.Errorf("%d and %d flags, want 1 and 1", room, speaker)
	}
	for range 200 { // more than it holds
		e.Callback(in, out)
	}
	kept := take()
	e.Callback(in, out)
	if got := take(); len(kept) != 0 || !slices.Equal(got, []int{0}) {
		t.Errorf("gaps at %v and %v, want none before the loss and 0 after it", kept, got)
	}
}

// A device that holds more sound calls for all of it at once: the lead grows with it.
func TestLeadBridgesTheDevicesBuffer(t *testing.T) {
	for _, c := range []struct {
		buffer time.Duration
		lead   int
	}{{0, 3}, {20 * time.Millisecond, 3}, {25 * time.Millisecond, 4}, {100 * time.Millisecond, 11}, {time.Hour, 48}} {
		if got := LeadFor(c.buffer); got != c.lead {
			t.Errorf("lead for %v is %d blocks, want %d", c.buffer, got, c.lead)
		}
		e := NewExchange(2)
		e.Ahead(c.lead)
		in, out := make([]float32, Block), make([]float32, Block)
		for range c.lead {
			e.Callback(in, out)
		}
		if starved, _, _ := e.Troubles(); starved != 0 {
			t.Errorf("starved after %d blocks", c.lead)
		}
		if e.Callback(in, out); e.starved.Load() != 1 {
			t.Errorf("%d starved blocks, want 1", e.starved.Load())
		}
	}
}

func TestDecimator(t *testing.T) {
	for _, c := range []struct{ hz, lo, hi float64 }{{1000, -0.1, 0.1}, {7000, -0.5, 0.5}, {9000, -999, -45}, {15000, -999, -45}} {
		d := NewDecimator(Block)
		var sum float64
		in := make([]float32, Block)
		for b := range 100 {
			for i := range in {
				in[i] = float32(math.Sin(2 * math.Pi * c.hz * float64(b*Block+i) / Rate))
			}
			for _, x := range d.Process(in) {
				if b >= 10 {
					sum += float64(x) * float64(x)
				}
			}
		}
		if db := 10 * math.Log10(2*sum/(90*Block/3)+1e-12); db < c.lo || db > c.hi {
			t.Errorf("%v Hz comes through at %.1f dB, want %v to %v", c.hz, db, c.lo, c.hi)
		}
	}
}

func TestPlayerPlacesToTheSample(t *testing.T) {
	p := NewPlayer(0)
	click := Clip{0.5}
	p.Beat(1000, click, 1)
	if at := p.Say(2000, Clip{0.4, 0.4}, 1); at != 2000 {
		t.Fatalf("speech placed at %d", at)
	}
	var got []int
	buf := make([]float32, Block)
	for b := range 10 {
		p.Render(buf)
		for i, x := range buf {
			if x != 0 {
				got = append(got, b*Block+i)
			}
		}
	}
	if len(got) != 3 || got[0] != 1000 || got[1] != 2000 || got[2] != 2001 {
		t.Errorf("sound at samples %v, want 1000, 2000, 2001", got)
	}
}

// A loop of known delay, through a short room and under noise, is measured to
// the sample; silence is not taken for a loop.
func TestLoopDelay(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	played := make([]float32, Rate)
	for i := range played {
		if i%(Rate/8) < 480 {
			played[i] = float32(r.NormFloat64() * 0.3)
		}
	}
	for _, delay := range []int{0, 480, 1440, 12345} {
		heard := make([]float32, Rate)
		for i := range heard {
			heard[i] = float32(r.NormFloat64() * 0.02)
			for k, gain := range map[int]float32{0: 0.5, 220: 0.2, 731: 0.1} {
				if j := i - delay - k; j >= 0 {
					heard[i] += gain * played[j]
				}
			}
		}
		if got, clear := LoopDelay(played, heard, Rate/2); got != delay || clear < 8 {
			t.Errorf("delay %d measured as %d, clear %.1f", delay, got, clear)
		}
	}
	noise := make([]float32, Rate)
	for i := range noise {
		noise[i] = float32(r.NormFloat64() * 0.02)
	}
	if _, clear := LoopDelay(played, noise, Rate/2); clear > 8 {
		t.Errorf("noise taken for a loop, clear %.1f", clear)
	}
}

package audio

import (
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
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

// EBU Tech 3285: TimeReference counts samples since midnight. 13:45:30 at
// 48 kHz is 2377440000 (computed from the rule). Without Close, as after
// SIGKILL, at most the last half second is missing; Mend finishes the file.
func TestRecorder(t *testing.T) {
	dir := t.TempDir()
	r, err := NewRecorder(dir, time.Date(2026, 1, 2, 13, 45, 30, 0, time.UTC), "test")
	if err != nil {
		t.Fatal(err)
	}
	a, b := make([]float32, Block), make([]float32, Block)
	a[0] = 0.5
	for range 230 {
		if err := r.Write(a, b); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, PartName(0))
	head, _ := os.ReadFile(path)
	const ref = 36 + 8 + 256 + 32 + 32 + 10 + 8
	if got := uint64(head[ref]) | uint64(head[ref+1])<<8 | uint64(head[ref+2])<<16 | uint64(head[ref+3])<<24; got != 2377440000 {
		t.Errorf("TimeReference is %d, want 2377440000", got)
	}
	w, err := OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	if w.Channels != 2 || w.SampleHz != Rate || w.Samples < 230*Block-Rate/2 {
		t.Errorf("cut off: %d channels, %d Hz, %d samples", w.Channels, w.SampleHz, w.Samples)
	}
	w.Close()
	if n, err := Mend(dir, []Mark{{100, "ROSC"}}); err != nil || n != 230*Block {
		t.Fatalf("mended %d samples, %v", n, err)
	}
	if err := CheckPart(path); err != nil {
		t.Error(err)
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

// A log that was cut off goes on at its clock sample, also when the cut lasted
// past the end of a file of an hour; every file is whole afterwards.
func TestResumeRecorder(t *testing.T) {
	for _, pos := range []int64{5 * Rate, PartLength + 2*Rate} {
		dir := t.TempDir()
		r, err := NewRecorder(dir, time.Unix(0, 0).UTC(), "test")
		if err != nil {
			t.Fatal(err)
		}
		block := make([]float32, Block)
		for range 100 {
			if err := r.Write(block, block); err != nil {
				t.Fatal(err)
			}
		}
		// Not closed: the process died here.
		r, had, err := ResumeRecorder(dir, time.Unix(0, 0).UTC(), "test", pos, []Mark{{At: 10, Label: "before"}})
		if err != nil {
			t.Fatal(err)
		}
		if had != 100*Block {
			t.Errorf("had %d samples, want %d", had, 100*Block)
		}
		for range 100 {
			if err := r.Write(block, block); err != nil {
				t.Fatal(err)
			}
		}
		if err := r.Close(); err != nil {
			t.Fatal(err)
		}
		total := int64(0)
		for n := int64(0); n <= pos/PartLength; n++ {
			path := filepath.Join(dir, PartName(int(n)))
			if err := CheckPart(path); err != nil {
				t.Error(err)
			}
			w, err := OpenWAV(path)
			if err != nil {
				t.Fatal(err)
			}
			total += w.Samples
			w.Close()
		}
		if total != pos+100*Block {
			t.Errorf("%d samples in all, want %d", total, pos+100*Block)
		}
	}
}

// BenchmarkEcho is 10 ms of microphone and loudspeaker.
func BenchmarkEcho(b *testing.B) {
	e, err := NewEcho(1)
	if err != nil {
		b.Fatal(err)
	}
	room, speaker := make([]int16, Block/3), make([]int16, Block/3)
	for i := range room {
		room[i], speaker[i] = int16(i*91%3000), int16(i*53%4000)
	}
	b.ReportAllocs()
	for b.Loop() {
		e.Cancel(room, speaker)
	}
}

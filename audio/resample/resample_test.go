//go:build cgo

package resample

import (
	"math"
	"testing"
)

// A sine stays a sine, at the same moment; what the lower rate cannot hold is gone.
func TestSine(t *testing.T) {
	for _, c := range []struct {
		from, to int
		hz       float64
		lo, hi   float64 // dB of what comes out against what went in
	}{
		{44100, 48000, 1000, -0.1, 0.1}, {8000, 16000, 3000, -0.1, 0.1}, {96000, 48000, 18000, -0.5, 0.5},
		{96000, 48000, 30000, -999, -80}, {48000, 16000, 9500, -999, -80},
	} {
		r, err := New(c.from, c.to)
		if err != nil {
			t.Fatal(err)
		}
		in := make([]float32, c.from)
		for i := range in {
			in[i] = float32(math.Sin(2 * math.Pi * c.hz * float64(i) / float64(c.from)))
		}
		var out []float32
		buf := make([]float32, 700)
		for len(in) > 0 {
			used, made := r.Process(in[:min(len(in), 333)], buf)
			in, out = in[used:], append(out, buf[:made]...)
		}
		var sum, off float64
		middle := out[len(out)/4 : len(out)*3/4]
		for i, x := range middle {
			y := math.Sin(2 * math.Pi * c.hz * float64(i+len(out)/4) / float64(c.to))
			sum, off = sum+float64(x)*float64(x), off+(float64(x)-y)*(float64(x)-y)
		}
		if db := 10 * math.Log10(2*sum/float64(len(middle))+1e-12); db < c.lo || db > c.hi {
			t.Errorf("%v Hz from %d to %d Hz comes through at %.1f dB", c.hz, c.from, c.to, db)
		}
		if off := 10 * math.Log10(2*off/float64(len(middle))+1e-12); c.lo > -1 && off > -20 {
			t.Errorf("%v Hz from %d to %d Hz is off by %.1f dB: it comes at another moment", c.hz, c.from, c.to, off)
		}
	}
	if used, made := (&Resampler{}).Process([]float32{1}, nil); used != 0 || made != 0 {
		t.Error("something was made of no room")
	}
}

func TestRateThatCannotBe(t *testing.T) {
	if _, err := New(0, 48000); err == nil {
		t.Error("0 Hz converted")
	}
}

package audio

import "math"

// taps of the anti-alias filter: flat to 7.3 kHz (fricatives tell callouts
// apart), 50 dB down from 8 kHz.
const taps = 240

// Decimator turns 48 kHz into 16 kHz. Output sample n stands for input sample
// 3n: the filter is linear phase and its delay, taps/2 input samples (2.5 ms),
// is left in.
type Decimator struct {
	h    [taps]float32
	hist []float32 // the last taps-3 inputs and the new ones
	out  []float32
}

// NewDecimator returns a decimator for blocks of up to n samples (a multiple of 3).
func NewDecimator(n int) *Decimator {
	d := &Decimator{hist: make([]float32, taps-3, taps+n), out: make([]float32, n/3)}
	const cut = 7650.0 / Rate
	sum := 0.0
	h := [taps]float64{}
	for i := range h {
		x := float64(i) - (taps-1)/2.0
		w := 0.54 - 0.46*math.Cos(2*math.Pi*(float64(i)+.5)/taps) // Hamming
		h[i] = 2 * cut * sinc(2*cut*x) * w
		sum += h[i]
	}
	for i := range h {
		d.h[i] = float32(h[i] / sum)
	}
	return d
}

func sinc(x float64) float64 {
	if x == 0 {
		return 1
	}
	return math.Sin(math.Pi*x) / (math.Pi * x)
}

// Process filters in (a multiple of 3 samples) and returns a third as many.
// The result is valid until the next call.
func (d *Decimator) Process(in []float32) []float32 {
	d.hist = append(d.hist, in...)
	out := d.out[:len(in)/3]
	for n := range out {
		x := d.hist[3*n : 3*n+taps]
		var a, b float32
		for i := 0; i < taps; i += 2 {
			a += x[i] * d.h[i]
			b += x[i+1] * d.h[i+1]
		}
		out[n] = a + b
	}
	d.hist = d.hist[:copy(d.hist, d.hist[len(in):])]
	return out
}

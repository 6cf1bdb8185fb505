package audio

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// LoopDelay finds how many samples later what was played is heard, by
// generalised cross-correlation with phase transform (Knapp and Carter, IEEE
// Trans. ASSP 1976;24:320), up to limit samples. clear is how far the peak
// stands over the mean: below about 8 nothing of it was heard.
func LoopDelay(played, heard []float32, limit int) (samples int, clear float64) {
	n := 1
	for n < len(played)+limit {
		n *= 2
	}
	f := fourier.NewFFT(n)
	spectrum := func(x []float32) []complex128 {
		buf := make([]float64, n)
		for i, v := range x[:min(len(x), n)] {
			buf[i] = float64(v)
		}
		return f.Coefficients(nil, buf)
	}
	p, h := spectrum(played), spectrum(heard)
	for i := range p {
		c := h[i] * complex(real(p[i]), -imag(p[i]))
		p[i] = c / complex(math.Hypot(real(c), imag(c))+1e-9, 0)
	}
	r := f.Sequence(nil, p)
	best, sum := 0, 0.0
	for i := 0; i < limit; i++ {
		sum += math.Abs(r[i])
		if math.Abs(r[i]) > math.Abs(r[best]) {
			best = i
		}
	}
	return best, math.Abs(r[best]) / (sum/float64(limit) + 1e-12)
}

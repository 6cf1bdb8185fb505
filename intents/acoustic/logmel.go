package acoustic

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// Front end: 25 ms Hann windows every 10 ms, 512-point power spectrum, 40
// triangular bands from 60 to 7600 Hz on the HTK mel scale, floored logarithm.
// intents/train/net.py computes the same.
const (
	bands  = 40
	hop    = 160
	window = 400
	fft    = 512
	floor  = 1e-5
)

type logMel struct {
	fft   *fourier.FFT
	win   [window]float64
	banks []bank
	buf   []float64 // samples not yet consumed
	frame [fft]float64
	coeff []complex128
	power [fft/2 + 1]float64
	out   [][]float32
}

// bank is the triangular filters: of each band the weights of the bins from lo on.
type bank [bands]struct {
	lo int
	w  []float64
}

// newLogMel makes a front end with one bank for each warp of the frequency axis.
func newLogMel(warps ...float64) *logMel {
	m := &logMel{fft: fourier.NewFFT(fft), coeff: make([]complex128, fft/2+1)}
	for _, w := range warps {
		m.banks, m.out = append(m.banks, newBank(w)), append(m.out, make([]float32, bands))
	}
	for i := range m.win {
		m.win[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/window)
	}
	return m
}

// newBank makes the filters for vocal tract length normalisation: with the frequency
// axis moved as a longer (warp below 1) or shorter tract moves it.
func newBank(warp float64) (out bank) {
	mel := func(f float64) float64 { return 2595 * math.Log10(1+f/700) }
	var edge [bands + 2]float64
	for i := range edge {
		v := mel(60) + (mel(7600)-mel(60))*float64(i)/(bands+1)
		edge[i] = 700 * (math.Pow(10, v/2595) - 1)
	}
	const bend = 4800 // Hz; from here on the axis runs back to its end
	for b := range out {
		for k := 0; k <= fft/2; k++ {
			hz := float64(k) * 16000 / fft
			if hz < bend {
				hz *= warp
			} else {
				hz = bend*warp + (hz-bend)*(8000-bend*warp)/(8000-bend)
			}
			w := math.Min((hz-edge[b])/(edge[b+1]-edge[b]), (edge[b+2]-hz)/(edge[b+2]-edge[b+1]))
			if w > 0 {
				if len(out[b].w) == 0 {
					out[b].lo = k
				}
				out[b].w = append(out[b].w, w)
			}
		}
	}
	return out
}

// push takes samples and calls emit with each finished frame, once for each
// bank. emit must not keep it.
func (m *logMel) push(pcm []int16, emit func([][]float32)) {
	for _, s := range pcm {
		m.buf = append(m.buf, float64(s)/32768)
	}
	at := 0
	for ; at+window <= len(m.buf); at += hop {
		for i := range m.win {
			m.frame[i] = m.buf[at+i] * m.win[i]
		}
		m.fft.Coefficients(m.coeff, m.frame[:])
		for i, c := range m.coeff {
			m.power[i] = real(c)*real(c) + imag(c)*imag(c)
		}
		for i := range m.banks {
			for b := range m.banks[i] {
				f := &m.banks[i][b]
				sum := floor
				p := m.power[f.lo:]
				for k, w := range f.w {
					sum += w * p[k]
				}
				m.out[i][b] = float32(math.Log(sum)*0.25 + 1)
			}
		}
		emit(m.out)
	}
	m.buf = m.buf[:copy(m.buf, m.buf[at:])]
}

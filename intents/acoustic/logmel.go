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
	fft    *fourier.FFT
	win    [window]float64
	bank   [bands][]float64 // weights of the bins from lo on
	lo     [bands]int
	buf    []float64 // samples not yet consumed
	frame  [fft]float64
	coeff  []complex128
	power  [fft/2 + 1]float64
	frames int
}

func newLogMel() *logMel {
	m := &logMel{fft: fourier.NewFFT(fft), coeff: make([]complex128, fft/2+1)}
	for i := range m.win {
		m.win[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/window)
	}
	mel := func(f float64) float64 { return 2595 * math.Log10(1+f/700) }
	var edge [bands + 2]float64
	for i := range edge {
		v := mel(60) + (mel(7600)-mel(60))*float64(i)/(bands+1)
		edge[i] = 700 * (math.Pow(10, v/2595) - 1)
	}
	for b := range m.bank {
		for k := 0; k <= fft/2; k++ {
			hz := float64(k) * 16000 / fft
			w := math.Min((hz-edge[b])/(edge[b+1]-edge[b]), (edge[b+2]-hz)/(edge[b+2]-edge[b+1]))
			if w > 0 {
				if len(m.bank[b]) == 0 {
					m.lo[b] = k
				}
				m.bank[b] = append(m.bank[b], w)
			}
		}
	}
	return m
}

// push takes samples in -1..1 and calls emit with each finished frame.
func (m *logMel) push(pcm []int16, emit func([]float32)) {
	for _, s := range pcm {
		m.buf = append(m.buf, float64(s)/32768)
	}
	at := 0
	var out [bands]float32
	for ; at+window <= len(m.buf); at += hop {
		for i := range m.win {
			m.frame[i] = m.buf[at+i] * m.win[i]
		}
		m.fft.Coefficients(m.coeff, m.frame[:])
		for i, c := range m.coeff {
			m.power[i] = real(c)*real(c) + imag(c)*imag(c)
		}
		for b := range out {
			sum := floor
			p := m.power[m.lo[b]:]
			for i, w := range m.bank[b] {
				sum += w * p[i]
			}
			out[b] = float32(math.Log(sum)*0.25 + 1)
		}
		m.frames++
		emit(out[:])
	}
	m.buf = m.buf[:copy(m.buf, m.buf[at:])]
}

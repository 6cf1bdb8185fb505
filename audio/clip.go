package audio

import (
	"bytes"
	"fmt"
	"io"
	"math"

	"github.com/faiface/beep"
	"github.com/faiface/beep/wav"
)

// longest is how long a clip may be, in samples at Rate: a minute.
const longest = 60 * Rate

// LoadClip decodes a WAV clip and resamples it to Rate: 8 to 24 bits, any rate,
// mono or the mean of two channels. The error names the clip and what is wrong.
func LoadClip(name string, b []byte) (Clip, error) {
	s, format, err := wav.Decode(io.NopCloser(bytes.NewReader(b)))
	if err != nil {
		return nil, fmt.Errorf("%s: not a WAV clip: %w", name, err)
	}
	defer s.Close()
	gain := float32(1)
	if format.Precision > 1 { // beep v1.1.0 divides 16 and 24-bit samples by twice their full scale
		gain = 2
	}
	var src beep.Streamer = s
	up := Rate / max(1, int(format.SampleRate))
	if up*int(format.SampleRate) != Rate { // such as 44.1 kHz
		src, up = beep.Resample(6, max(1, format.SampleRate), Rate, s), 1
	}
	var clip Clip
	buf := make([][2]float64, 512)
	for {
		n, ok := src.Stream(buf)
		for _, x := range buf[:n] {
			clip = append(clip, gain*float32((x[0]+x[1])/2))
		}
		if !ok {
			break
		}
		if len(clip)*up > longest {
			return nil, fmt.Errorf("%s: longer than a minute", name)
		}
	}
	if err := s.Err(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if len(clip) == 0 {
		return nil, fmt.Errorf("%s: holds no sound", name)
	}
	return upsample(clip, up), nil
}

// upsample puts up-1 samples between each two, by a windowed sinc of 16 input
// samples (images 60 dB down; Oppenheim and Schafer, Discrete-Time Signal
// Processing, 4.6).
func upsample(x Clip, up int) Clip {
	if up == 1 {
		return x
	}
	const half = 8
	phases := make([][2 * half]float32, up)
	for p := range phases {
		sum := 0.0
		for k := range phases[p] {
			t := float64(k-half+1) - float64(p)/float64(up)
			w := 0.42 + 0.5*math.Cos(math.Pi*t/half) + 0.08*math.Cos(2*math.Pi*t/half) // Blackman
			phases[p][k] = float32(sinc(t) * w)
			sum += float64(phases[p][k])
		}
		for k := range phases[p] {
			phases[p][k] /= float32(sum)
		}
	}
	padded := make(Clip, len(x)+2*half)
	copy(padded[half-1:], x)
	out := make(Clip, len(x)*up)
	for n := range x {
		in := padded[n : n+2*half]
		for p := range phases {
			var sum float32
			for k, h := range phases[p] {
				sum += in[k] * h
			}
			out[n*up+p] = sum
		}
	}
	return out
}

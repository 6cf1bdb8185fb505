package audio

import (
	"bytes"
	"fmt"
	"io"

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
	const quality = 4 // images 65 dB down
	src := beep.Resample(quality, max(1, format.SampleRate), Rate, s)
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
		if len(clip) > longest {
			return nil, fmt.Errorf("%s: longer than a minute", name)
		}
	}
	if err := s.Err(); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if len(clip) == 0 {
		return nil, fmt.Errorf("%s: holds no sound", name)
	}
	return clip, nil
}

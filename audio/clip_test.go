package audio

import (
	"bytes"
	"encoding/binary"
	"math"
	"strings"
	"testing"
)

// wavClip is a 16-bit WAV file of a sine of half scale.
func wavClip(hz, channels, samples int, tone float64) []byte {
	var b bytes.Buffer
	le := func(v ...any) {
		for _, x := range v {
			binary.Write(&b, binary.LittleEndian, x)
		}
	}
	size := 2 * channels * samples
	b.WriteString("RIFF")
	le(uint32(36 + size))
	b.WriteString("WAVEfmt ")
	le(uint32(16), uint16(1), uint16(channels), uint32(hz), uint32(hz*2*channels), uint16(2*channels), uint16(16))
	b.WriteString("data")
	le(uint32(size))
	for i := range samples {
		for range channels {
			le(int16(16384 * math.Sin(2*math.Pi*tone*float64(i)/float64(hz))))
		}
	}
	return b.Bytes()
}

// A unit's own recording keeps its pitch, its moment and its level, whatever its
// rate: the sine that was recorded comes out, its error below the given dB.
func TestLoadClip(t *testing.T) {
	for _, c := range []struct {
		hz, channels int
		tone, error  float64
	}{{16000, 1, 1000, -55}, {16000, 1, 6000, -35}, {8000, 1, 1000, -50}, {48000, 2, 3000, -80}, {44100, 1, 3000, -60},
		{22050, 2, 1000, -60}} {
		clip, err := LoadClip("x", wavClip(c.hz, c.channels, c.hz/2, c.tone))
		if err != nil {
			t.Errorf("%+v: %v", c, err)
			continue
		}
		if d := len(clip) - Rate/2; d < -8 || d > 8 {
			t.Errorf("%+v: %d samples, want %d", c, len(clip), Rate/2)
		}
		var sound, off float64
		for i := 1000; i < len(clip)-1000; i++ {
			y := 0.5 * math.Sin(2*math.Pi*c.tone*float64(i)/Rate)
			sound, off = sound+y*y, off+(float64(clip[i])-y)*(float64(clip[i])-y)
		}
		if db := 10 * math.Log10(off/sound); db > c.error {
			t.Errorf("%+v: off by %.0f dB", c, db)
		}
	}
}

func TestClipsThatAreNone(t *testing.T) {
	for want, b := range map[string][]byte{
		"not a WAV clip":       []byte("hello"),
		"holds no sound":       wavClip(16000, 1, 0, 1),
		"longer than a minute": wavClip(16000, 1, 61*16000, 1),
	} {
		if _, err := LoadClip("name.wav", b); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "name.wav") {
			t.Errorf("%v, want name.wav: %s", err, want)
		}
	}
}

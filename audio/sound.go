package audio

// beep (MIT licence) is archived by its author. What is used of it works and is
// held by tests: mixers, sequences, silence, resampling, WAV decoding. It has no
// part in the clock: voices are placed by sample, and nothing of it runs in the
// device's callback.
import "github.com/faiface/beep"

// Sound is something that can be said: mono, at Rate. It can be played often.
type Sound interface {
	// Len is how long it is, in samples at Rate.
	Len() int
	// Stream plays it from its first sample, both channels alike. What is long
	// is decoded while it plays, so that no block takes longer than another.
	Stream() beep.Streamer
}

// Clip is a Sound in memory: samples in -1..1.
type Clip []float32

// Len implements Sound.
func (c Clip) Len() int { return len(c) }

// Stream implements Sound.
func (c Clip) Stream() beep.Streamer {
	at := 0
	return beep.StreamerFunc(func(buf [][2]float64) (int, bool) {
		n := min(len(buf), len(c)-at)
		for i, x := range c[at : at+n] {
			buf[i] = [2]float64{float64(x), float64(x)}
		}
		at += n
		return n, n > 0
	})
}

// Silence is a Sound of so many samples.
type Silence int

// Len implements Sound.
func (s Silence) Len() int { return int(s) }

// Stream implements Sound.
func (s Silence) Stream() beep.Streamer { return beep.Silence(int(s)) }

// Sequence is a Sound made of others, one after the other.
type Sequence []Sound

// Len implements Sound.
func (s Sequence) Len() int {
	n := 0
	for _, part := range s {
		n += part.Len()
	}
	return n
}

// Stream implements Sound.
func (s Sequence) Stream() beep.Streamer {
	parts := make([]beep.Streamer, len(s))
	for i, part := range s {
		parts[i] = part.Stream()
	}
	return beep.Seq(parts...)
}

// Render plays a whole sound into memory.
func Render(s Sound) Clip {
	out, buf := make(Clip, 0, s.Len()), make([][2]float64, Block)
	for stream := s.Stream(); ; {
		n, ok := stream.Stream(buf)
		for _, x := range buf[:n] {
			out = append(out, float32(x[0]))
		}
		if !ok {
			return out
		}
	}
}

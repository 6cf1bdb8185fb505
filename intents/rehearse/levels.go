package rehearse

import (
	"fmt"
	"math"
	"slices"

	"coxswain/intents"
)

// Levels are how loud voice and room were, in dB below full scale; Clipped is the share of
// samples at full scale.
type Levels struct {
	VoiceDB float64 `json:"voice_db"`
	RoomDB  float64 `json:"room_db"`
	Clipped float64 `json:"clipped"`
}

// Meter measures levels in blocks of 100 ms. The zero value is ready.
type Meter struct {
	blocks  []float64
	sum     float64
	n       int
	samples int
	clipped int
}

const (
	meterBlock = intents.Rate / 10
	silentDB   = -96 // of 16 bits
	// What advice is given for: common practice, no source.
	quietDB   = -45
	marginDB  = 15
	clipShare = 1e-4
	manyLost  = 4 // one line in so many
)

// Hear takes samples at intents.Rate.
func (m *Meter) Hear(pcm []int16) {
	for _, s := range pcm {
		x := float64(s) / 32768
		m.sum += x * x
		if m.samples++; s == math.MaxInt16 || s == math.MinInt16 {
			m.clipped++
		}
		if m.n++; m.n == meterBlock {
			m.blocks = append(m.blocks, max(silentDB, 10*math.Log10(m.sum/meterBlock+1e-12)))
			m.sum, m.n = 0, 0
		}
	}
}

// Levels are the level that a tenth of the time stays below, which is the room, and the mean
// of the loudest fifth, which is the voice.
func (m *Meter) Levels() Levels {
	if len(m.blocks) == 0 {
		return Levels{VoiceDB: silentDB, RoomDB: silentDB}
	}
	b := slices.Sorted(slices.Values(m.blocks))
	loud, sum := b[len(b)*4/5:], 0.
	for _, x := range loud {
		sum += x
	}
	round := func(x float64) float64 { return math.Round(x*10) / 10 }
	return Levels{round(sum / float64(len(loud))), round(b[len(b)/10]), float64(m.clipped) / float64(m.samples)}
}

// advise says what to do about the levels and about what was not heard.
func (r Report) advise() (out []string) {
	bad := len(r.Readings) - r.Count(Heard)
	if r.Clipped > clipShare {
		out = append(out, "the loudest sounds are cut off: turn the microphone down")
	}
	say := func(format string, x ...any) { out = append(out, fmt.Sprintf(format, x...)) }
	switch over := r.VoiceDB - r.RoomDB; {
	case r.VoiceDB < quietDB:
		say("the voice is very quiet (%.0f dB): bring the microphone nearer, or turn it up", r.VoiceDB)
	case over < marginDB:
		say("the room is only %.0f dB below the voice: wear the microphone on the collar", over)
	case bad > 0 && bad*manyLost >= len(r.Readings):
		say("many callouts are not heard though the levels are good: say them slower, with a pause around each")
	}
	for _, x := range r.Readings {
		if x.Verdict != Heard && x.Instead != "" {
			say("%q was %s: try %q", x.Text, x.Verdict, x.Instead)
		}
	}
	if bad > 0 {
		say("whatever is not read back was not logged: call it again")
	}
	return out
}

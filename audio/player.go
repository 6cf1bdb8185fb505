package audio

import (
	"math"
	"slices"

	"github.com/faiface/beep"
)

// Player mixes voices onto the speaker at exact samples of the clock. Two
// mixers of beep lie under it: one for the beat, which ducks under speech, and
// one for speech. A Player is for one goroutine, which renders ahead of the
// device; it must not be called from the callback.
type Player struct {
	pos        int64 // next sample to render
	beat, talk beep.Mixer
	talkUntil  int64
	duck       float64 // gain of the beat, moving towards its target
	a, b       [][2]float64
	speech     *voice
	beats      []*voice // that may still sound
}

// NewPlayer returns a player whose first rendered sample is clock sample pos.
func NewPlayer(pos int64) *Player {
	return &Player{pos: pos, duck: 1, a: make([][2]float64, Block), b: make([][2]float64, Block)}
}

// voice is a sound that begins after a lead-in of silence and can be faded out.
type voice struct {
	sound beep.Streamer
	wait  int // samples of silence still to come
	fade  int // samples left of a fade-out; -1: none
	gain  float64
	over  bool
}

const fadeOut = Rate / 100

// Stream implements beep.Streamer.
func (v *voice) Stream(buf [][2]float64) (int, bool) {
	if v.fade == 0 || v.fade > 0 && v.wait > 0 { // faded out, or before it began
		v.over = true
		return 0, false
	}
	lead := min(v.wait, len(buf))
	clear(buf[:lead])
	v.wait -= lead
	n, _ := v.sound.Stream(buf[lead:])
	for i := range buf[lead : lead+n] {
		x := buf[lead+i][0] * v.gain
		switch {
		case v.fade == 0:
			x = 0
		case v.fade > 0:
			x *= float64(v.fade) / fadeOut
			v.fade--
		}
		buf[lead+i] = [2]float64{x, x}
	}
	v.over = lead+n == 0
	return lead + n, !v.over
}

// Err implements beep.Streamer.
func (v *voice) Err() error { return nil }

// Pos is the next sample that Render makes.
func (p *Player) Pos() int64 { return p.pos }

// Beat places a sound of the metronome at clock sample at, which must not be
// past: an earlier moment is moved to Pos.
func (p *Player) Beat(at int64, s Sound, gain float64) {
	p.beats = slices.DeleteFunc(p.beats, func(v *voice) bool { return v.over })
	v := &voice{sound: s.Stream(), wait: int(max(0, at-p.pos)), fade: -1, gain: gain}
	p.beats = append(p.beats, v)
	p.beat.Add(v)
}

// StopBeats fades out the beats that sound in 10 ms; those that wait do not sound.
func (p *Player) StopBeats() {
	for _, v := range p.beats {
		v.fade = fadeOut
	}
	p.beats = nil
}

// Say places speech at clock sample at (or Pos, if that is past) and returns
// the sample at which it really begins. There is one voice: speech already
// sounding is faded out in 10 ms.
func (p *Player) Say(at int64, s Sound, gain float64) int64 {
	p.Hush()
	at = max(at, p.pos)
	p.speech = &voice{sound: s.Stream(), wait: int(at - p.pos), fade: -1, gain: gain}
	p.talk.Add(p.speech)
	p.talkUntil = at + int64(s.Len())
	return at
}

// Hush fades out speech that is sounding.
func (p *Player) Hush() {
	if p.speech != nil && p.speech.fade < 0 && p.Talking() {
		p.speech.fade = fadeOut
		p.talkUntil = p.pos + fadeOut
	}
}

// Talking reports whether speech sounds at Pos.
func (p *Player) Talking() bool { return p.pos < p.talkUntil }

// TalkUntil is the sample after the last one of the present speech.
func (p *Player) TalkUntil() int64 { return p.talkUntil }

const (
	duckTo   = 0.25              // -12 dB under speech
	duckStep = 1.0 / (Rate / 50) // full swing in 20 ms
)

// Render mixes the next len(out) samples (at most Block).
func (p *Player) Render(out []float32) {
	a, b := p.a[:len(out)], p.b[:len(out)]
	p.beat.Stream(a)
	p.talk.Stream(b)
	for i := range out {
		if p.pos+int64(i) < p.talkUntil {
			p.duck = max(duckTo, p.duck-duckStep)
		} else {
			p.duck = min(1, p.duck+duckStep)
		}
		out[i] = float32(limit(a[i][0]*p.duck + b[i][0]))
	}
	p.pos += int64(len(out))
}

// limit bends the top 3 dB so that a sum of voices never clips hard.
func limit(x float64) float64 {
	const knee = 0.7
	if y := math.Abs(x); y > knee {
		return math.Copysign(knee+(1-knee)*math.Tanh((y-knee)/(1-knee)), x)
	}
	return x
}

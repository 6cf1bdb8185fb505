// Package echo takes what the loudspeaker played out of what the microphone
// heard, by speexdsp (cgo).
package echo

/*
#cgo pkg-config: speexdsp
#include <speex/speex_echo.h>
#include <speex/speex_preprocess.h>

static SpeexEchoState *cox_echo_new(int frame, int tail, int rate) {
	SpeexEchoState *s = speex_echo_state_init(frame, tail);
	if (s) speex_echo_ctl(s, SPEEX_ECHO_SET_SAMPLING_RATE, &rate);
	return s;
}

// The little noise suppression is what makes the suppression of residual echo
// work at all; more of it costs callouts.
static SpeexPreprocessState *cox_residual_new(SpeexEchoState *e, int frame, int rate) {
	SpeexPreprocessState *p = speex_preprocess_state_init(frame, rate);
	if (!p) return p;
	int on = 1, noise_db = -3;
	speex_preprocess_ctl(p, SPEEX_PREPROCESS_SET_DENOISE, &on);
	speex_preprocess_ctl(p, SPEEX_PREPROCESS_SET_NOISE_SUPPRESS, &noise_db);
	speex_preprocess_ctl(p, SPEEX_PREPROCESS_SET_ECHO_STATE, e);
	return p;
}
*/
import "C"

import (
	"errors"
	"math"
	"math/bits"
	"runtime"
	"unsafe"

	"coxswain/audio"
)

// Canceller removes what the loudspeaker played from what the microphone heard, at
// audio.ListenRate in blocks of audio.Block/3 samples: the adaptive filter of speexdsp
// (Valin, IEEE Trans. ASLP 2007;15:1030), which learns the room within about
// 8 s of sound and follows it; while we speak, what it leaves is suppressed
// too (always, and soft callouts are lost). The same
// samples give the same result. A Canceller is for one goroutine.
type Canceller struct {
	state       *C.SpeexEchoState
	residual    *C.SpeexPreprocessState
	delay       [][]int16 // the loudspeaker's blocks that are too early still
	far         []int16
	out         []int16
	late, plain []int16 // without suppression, held back by the block that it takes
	recent      uint16  // which of the last blocks of the loudspeaker sounded
	hold        int     // blocks for which suppression goes on
	in          float64 // energy while the loudspeaker sounded, before and after
	left        float64
}

// tail is how much of the room's answer is cancelled, in ms: loop delay of the
// device, direct sound and the first reverberation.
const tail = 256

// New returns a canceller. The loudspeaker's sound is held back by delay
// blocks: less than the way to the microphone, or none if that is unknown.
func New(delay int) (*Canceller, error) {
	block := func() []int16 { return make([]int16, audio.Block/3) }
	e := &Canceller{out: block(), late: block(), plain: block(), far: block(), delay: make([][]int16, delay)}
	for i := range e.delay {
		e.delay[i] = block()
	}
	if e.state = C.cox_echo_new(audio.Block/3, tail*audio.ListenRate/1000, audio.ListenRate); e.state == nil {
		return nil, errors.New("echo canceller: out of memory")
	}
	if e.residual = C.cox_residual_new(e.state, audio.Block/3, audio.ListenRate); e.residual == nil {
		return nil, errors.New("echo canceller: out of memory")
	}
	runtime.SetFinalizer(e, func(e *Canceller) {
		C.speex_preprocess_state_destroy(e.residual)
		C.speex_echo_state_destroy(e.state)
	})
	return e, nil
}

// Cancel takes a block of the microphone and the block that the loudspeaker
// played with it, and returns what people in the room said. The result is
// valid until the next call. It allocates nothing.
func (e *Canceller) Cancel(room, speaker []int16) []int16 {
	if n := len(e.delay); n > 0 {
		first := e.delay[0]
		copy(e.far, first)
		copy(first, speaker)
		copy(e.delay, e.delay[1:])
		e.delay[n-1] = first
		speaker = e.far
	}
	C.speex_echo_cancellation(e.state, samples(room), samples(speaker), samples(e.out))
	e.plain, e.late = e.late, e.plain
	copy(e.late, e.out)
	C.speex_preprocess_run(e.residual, samples(e.out)) // comes out a block late
	sounds := energy(speaker) > audible
	if sounds {
		const keep = 0.998 // about 5 s
		e.in, e.left = e.in*keep+energy(room), e.left*keep+energy(e.out)
	}
	if e.speaking(sounds) {
		return e.out
	}
	return e.plain
}

// audible is the mean square above which a block of the loudspeaker counts as
// sound.
const audible = 1e4

// speaking reports whether the loudspeaker says something, or did a moment ago:
// more than half of the last 160 ms sound, which no beat does.
func (e *Canceller) speaking(sounds bool) bool {
	e.recent <<= 1
	if sounds {
		e.recent |= 1
	}
	if bits.OnesCount16(e.recent) > 8 {
		e.hold = 40
	}
	e.hold = max(0, e.hold-1)
	return e.hold > 0
}

func samples(x []int16) *C.spx_int16_t {
	return (*C.spx_int16_t)(unsafe.Pointer(unsafe.SliceData(x)))
}

// Enhancement is the echo return loss enhancement in dB over the last seconds
// in which the loudspeaker sounded: how much quieter the room became. Speech of
// people counts as left over, so it is right only while nobody speaks.
func (e *Canceller) Enhancement() float64 {
	if e.in == 0 {
		return 0
	}
	return 10 * math.Log10((e.in+1)/(e.left+1))
}

func energy(x []int16) float64 {
	sum := 0.0
	for _, v := range x {
		sum += float64(v) * float64(v)
	}
	return sum / float64(len(x))
}

package audio

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
	"runtime"
	"unsafe"
)

// Echo removes what the loudspeaker played from what the microphone heard, at
// ListenRate in blocks of Block/3 samples: the adaptive filter of speexdsp
// (Valin, IEEE Trans. ASLP 2007;15:1030), which learns the room within about
// 8 s of sound and follows it, and a suppression of what it leaves. The same
// samples give the same result. An Echo is for one goroutine.
type Echo struct {
	state    *C.SpeexEchoState
	residual *C.SpeexPreprocessState
	delay    [][]int16 // the loudspeaker's blocks that are too early still
	far      []int16
	out      []int16
	in       float64 // energy while the loudspeaker sounded, before and after
	left     float64
}

// tail is how much of the room's answer is cancelled, in ms: loop delay of the
// device, direct sound and the first reverberation.
const tail = 256

// NewEcho returns a canceller. The loudspeaker's sound is held back by delay
// blocks: less than the way to the microphone, or none if that is unknown.
func NewEcho(delay int) (*Echo, error) {
	e := &Echo{out: make([]int16, Block/3), far: make([]int16, Block/3), delay: make([][]int16, delay)}
	for i := range e.delay {
		e.delay[i] = make([]int16, Block/3)
	}
	if e.state = C.cox_echo_new(Block/3, tail*ListenRate/1000, ListenRate); e.state == nil {
		return nil, errors.New("echo canceller: out of memory")
	}
	if e.residual = C.cox_residual_new(e.state, Block/3, ListenRate); e.residual == nil {
		return nil, errors.New("echo canceller: out of memory")
	}
	runtime.SetFinalizer(e, func(e *Echo) {
		C.speex_preprocess_state_destroy(e.residual)
		C.speex_echo_state_destroy(e.state)
	})
	return e, nil
}

// Cancel takes a block of the microphone and the block that the loudspeaker
// played with it, and returns what people in the room said. The result is
// valid until the next call. It allocates nothing.
func (e *Echo) Cancel(room, speaker []int16) []int16 {
	if n := len(e.delay); n > 0 {
		first := e.delay[0]
		copy(e.far, first)
		copy(first, speaker)
		copy(e.delay, e.delay[1:])
		e.delay[n-1] = first
		speaker = e.far
	}
	ref := (*C.spx_int16_t)(unsafe.Pointer(unsafe.SliceData(speaker)))
	C.speex_echo_cancellation(e.state, (*C.spx_int16_t)(unsafe.Pointer(unsafe.SliceData(room))), ref, (*C.spx_int16_t)(unsafe.Pointer(unsafe.SliceData(e.out))))
	C.speex_preprocess_run(e.residual, (*C.spx_int16_t)(unsafe.Pointer(unsafe.SliceData(e.out))))
	if sounds := energy(speaker); sounds > 1e4 {
		const keep = 0.998 // about 5 s
		e.in, e.left = e.in*keep+energy(room), e.left*keep+energy(e.out)
	}
	return e.out
}

// Enhancement is the echo return loss enhancement in dB over the last seconds
// in which the loudspeaker sounded: how much quieter the room became. Speech of
// people counts as left over, so it is right only while nobody speaks.
func (e *Echo) Enhancement() float64 {
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

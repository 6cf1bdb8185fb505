//go:build cgo

// Package resample converts sample rates by speexdsp's resampler (cgo): a
// band-limited polyphase filter, 100 dB (quality 10). Built without cgo it can
// convert nothing and says so.
package resample

/*
#cgo pkg-config: speexdsp
#include <speex/speex_resampler.h>
*/
import "C"

import (
	"fmt"
	"runtime"
	"unsafe"
)

// quality of speexdsp: 10 is the best. Offline nothing else costs more.
const quality = 10

// Resampler converts one channel from one rate to another. The first sample out
// stands for the first sample in. It is for one goroutine.
type Resampler struct{ state *C.SpeexResamplerState }

// New returns a resampler between two rates in Hz.
func New(from, to int) (*Resampler, error) {
	var code C.int
	r := &Resampler{C.speex_resampler_init(1, C.spx_uint32_t(from), C.spx_uint32_t(to), quality, &code)}
	if r.state == nil {
		return nil, fmt.Errorf("cannot convert %d Hz to %d Hz: %s", from, to, C.GoString(C.speex_resampler_strerror(code)))
	}
	C.speex_resampler_skip_zeros(r.state)
	runtime.AddCleanup(r, func(s *C.SpeexResamplerState) { C.speex_resampler_destroy(s) }, r.state)
	return r, nil
}

// Process converts as much of in as out takes. It returns how many samples of in
// were used and how many of out were made.
func (r *Resampler) Process(in, out []float32) (used, made int) {
	if len(out) == 0 {
		return 0, 0
	}
	n, m := C.spx_uint32_t(len(in)), C.spx_uint32_t(len(out))
	src, dst := (*C.float)(unsafe.Pointer(unsafe.SliceData(in))), (*C.float)(unsafe.Pointer(unsafe.SliceData(out)))
	C.speex_resampler_process_float(r.state, 0, src, &n, dst, &m)
	runtime.KeepAlive(r)
	return int(n), int(m)
}

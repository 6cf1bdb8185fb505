package audio

import "sync/atomic"

// Ring is a lock-free queue of samples between exactly one writing and one
// reading goroutine (or device callback). Neither side ever waits.
type Ring struct {
	buf  []float32
	mask uint64
	r, w atomic.Uint64
}

// NewRing returns a ring for at least n samples.
func NewRing(n int) *Ring {
	size := 1
	for size < n {
		size <<= 1
	}
	return &Ring{buf: make([]float32, size), mask: uint64(size - 1)}
}

// Len is the number of samples that can be read now.
func (q *Ring) Len() int { return int(q.w.Load() - q.r.Load()) }

// Free is the number of samples that can be written now.
func (q *Ring) Free() int { return len(q.buf) - q.Len() }

// Write stores all of p, or nothing: it reports false if p does not fit.
func (q *Ring) Write(p []float32) bool {
	w := q.w.Load()
	if len(q.buf)-int(w-q.r.Load()) < len(p) {
		return false
	}
	n := copy(q.buf[w&q.mask:], p)
	copy(q.buf, p[n:])
	q.w.Store(w + uint64(len(p)))
	return true
}

// Read fills all of p, or leaves it alone: it reports false if too little is there.
func (q *Ring) Read(p []float32) bool {
	r := q.r.Load()
	if int(q.w.Load()-r) < len(p) {
		return false
	}
	n := copy(p, q.buf[r&q.mask:])
	copy(p[n:], q.buf)
	q.r.Store(r + uint64(len(p)))
	return true
}

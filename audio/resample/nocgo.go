//go:build !cgo

package resample

import "fmt"

// Resampler converts nothing in a build without cgo.
type Resampler struct{}

// New says that this build converts no rates.
func New(from, to int) (*Resampler, error) {
	return nil, fmt.Errorf("%d Hz cannot be converted to %d Hz: this coxswain was built without cgo", from, to)
}

// Process does nothing.
func (*Resampler) Process(in, out []float32) (used, made int) { return len(in), 0 }

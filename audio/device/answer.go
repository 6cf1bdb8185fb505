package device

import (
	"fmt"
	"time"
)

// answersFor is how long whoever only looks waits for the sound system: of a server that hangs each question
// takes half a minute or more (measured, PulseAudio 16 that was stopped).
const answersFor = 20 * time.Second

// ErrMute marks a sound system that does not answer.
var ErrMute = fmt.Errorf("the sound system has not answered for %v: its server hangs; start that anew", answersFor)

// Answer asks the sound system, or gives up. What comes later is lost: for a program that ends then.
func Answer[T any](ask func() (T, error)) (T, error) {
	type answer struct {
		got T
		err error
	}
	got := make(chan answer, 1)
	go func() {
		x, err := ask()
		got <- answer{x, err}
	}()
	select {
	case a := <-got:
		return a.got, a.err
	case <-time.After(answersFor):
		var none T
		return none, ErrMute
	}
}

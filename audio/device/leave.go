package device

import (
	"errors"
	"sync/atomic"
	"time"

	"github.com/gordonklaus/portaudio"
)

// closePatience is how long Close waits for the sound system: a device that is
// there takes less than 0.1 s (measured, PulseAudio 16).
const closePatience = 2 * time.Second

// ErrStuck marks a stream that the sound system does not let go of.
var ErrStuck = errors.New("the sound system does not let go of the device; going on without closing it")

// ErrLate marks a stream that took so long to start that the sound system may have
// given it up. It is left behind.
var ErrLate = errors.New("the sound system took too long to start the stream; going on without it")

const (
	// startPatience is how long PortAudio waits for its thread to start a stream (pa_linux_alsa.c
	// of 19.6: 1 s), less what a clock may differ. Then it ends the thread, says so to
	// nobody, and ends it once more when the stream is closed: by then what it ends is any other
	// thread that has come to lie at the same place, and the program dies of it.
	startPatience = 900 * time.Millisecond
	// lifeSign is how long such a stream is watched for a callback: 25 buffers of the usual size,
	// 2 of the largest.
	lifeSign = 500 * time.Millisecond
)

// left counts the streams that were left behind.
var left atomic.Int32

// LeftBehind reports whether this process has streams that it cannot close: a sound card that
// takes one stream at a time stays busy until the process ends.
func LeftBehind() bool { return left.Load() > 0 }

// begin starts a stream whose callbacks calls counts, and closes one that will not start. One that
// was late, and shows no sign of life, is not touched again.
func begin(s stream, calls func() uint64) error {
	begun := time.Now()
	err := s.Start()
	// PortAudio waits by the wall clock, which may have been set meanwhile.
	took := max(time.Since(begun), time.Now().Round(0).Sub(begun.Round(0)))
	if took >= startPatience {
		for n, end := calls(), time.Now().Add(lifeSign); err == nil; time.Sleep(time.Millisecond) {
			if calls() > n {
				return nil
			}
			if time.Now().After(end) {
				break
			}
		}
		left.Add(1)
		return errors.Join(ErrLate, err)
	}
	if err != nil {
		s.Close()
	}
	return err
}

// Close stops the stream. It returns even when the device is gone: when a
// PulseAudio server is killed, the threads of its client library may wait for
// each other for ever (libpulse 16.1, pa_memimport_free), and with them whoever
// closes the stream. Such a stream is left behind, threads and all, with
// ErrStuck; another can be opened beside it. If it lets go later it is not closed
// any more: PortAudio is for one thread at a time, and may be in use by then.
func (d *Device) Close() error {
	system.Lock()
	defer system.Unlock()
	closed := make(chan error, 1)
	var given atomic.Bool // up, or to the closing that follows
	go func() {
		err := d.stream.Abort()
		if given.CompareAndSwap(false, true) {
			err = errors.Join(err, d.stream.Close())
		}
		closed <- err
	}()
	select {
	case err := <-closed:
		return errors.Join(err, portaudio.Terminate())
	case <-time.After(closePatience):
		given.Store(true)
		left.Add(1)
		return ErrStuck
	}
}

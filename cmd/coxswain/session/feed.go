package session

import (
	"fmt"
	"io"
	"strings"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
)

// Feed plays a file through the same exchange that a device drives. A room, if
// any, adds to each block what comes back of the block played before it.
func (s *Session) Feed(r *recorder.Reader, room func(in, played []float32), progress io.Writer) error {
	e := audio.NewExchange(1)
	var in, out [audio.Block]float32
	var f audio.Frame
	started, total := time.Now(), r.Samples
	var ferr error
	for done := int64(0); ; {
		n, err := r.Read(in[:])
		if n == 0 {
			if err != io.EOF {
				ferr = err
			}
			break
		}
		clear(in[n:])
		if room != nil {
			room(in[:], out[:])
		}
		e.Callback(in[:], out[:])
		for e.Next(&f) {
			e.Send(s.Step(f.Room[:], f.Speaker[:]))
		}
		if done += int64(n); done/audio.Block%2000 == 0 {
			bar(progress, done, total, started)
		}
	}
	bar(progress, s.pos, max(total, s.pos), started)
	fmt.Fprintln(progress)
	if err := s.Close(); err != nil {
		return err
	}
	return ferr
}

func bar(w io.Writer, done, total int64, started time.Time) {
	const width = 40
	k := int(float64(width) * float64(done) / float64(max(1, total)))
	speed := audio.Duration(done).Seconds() / max(1e-9, time.Since(started).Seconds())
	fmt.Fprintf(
		w,
		"\r[%s%s] %3d %%  %v of %v  %.0f times real time ",
		strings.Repeat("#", k),
		strings.Repeat(".", width-k),
		100*done/max(1, total),
		audio.Duration(done).Round(time.Second),
		audio.Duration(total).Round(time.Second),
		speed,
	)
}

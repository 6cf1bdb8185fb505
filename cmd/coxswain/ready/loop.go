package ready

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"coxswain/audio"
	"coxswain/audio/device"
	"coxswain/cmd/coxswain/config"
)

// Loop is what came back of noise that was played.
type Loop struct {
	delay          int     // samples from loudspeaker to microphone
	clear          float64 // how far the delay stands out; below 8 nothing was heard
	level          float64 // dB against what was played
	missed, before uint64  // blocks that came too late for the loudspeaker; in the first second
	floor          float64 // dBFS of the room before
}

// Heard reports whether the microphone heard the loudspeaker at all.
func (m Loop) Heard() bool { return m.clear >= 8 }

func (m Loop) String() string {
	return fmt.Sprintf(
		"loop delay %.1f ms (%d samples), level %+.1f dB",
		float64(m.delay)*1000/audio.Rate,
		m.delay,
		m.level,
	)
}

// MeasureLoop plays bursts of noise and finds how much later and how much
// weaker the microphone hears them.
func MeasureLoop(c *config.Config) (Loop, error) {
	var m Loop
	e := audio.NewExchange(10)
	e.Ahead(audio.LeadFor(c.Buffer()))
	d, err := openSound(c, e)
	if err != nil {
		return m, err
	}
	defer d.Close()
	if d.Missing() != "" {
		return m, fmt.Errorf("no %s: plug one in and see `coxswain devices`", d.Missing())
	}
	r := rand.New(rand.NewPCG(1, 1))
	var room, speaker []float32
	var f audio.Frame
	for begun := time.Now(); len(room) < 3*audio.Rate; {
		if !e.Next(&f) {
			if time.Since(begun) > 10*time.Second {
				return m, fmt.Errorf(
					"the sound device stands still: unplug it and plug it in again, or restart the sound server",
				)
			}
			time.Sleep(time.Millisecond)
			continue
		}
		var out [audio.Block]float32
		if n := len(room) / audio.Block; n > 100 && n%12 == 0 { // the first second lets the stream settle
			for i := range out {
				out[i] = float32(r.NormFloat64() * 0.2)
			}
		}
		e.Send(out[:])
		if len(room) == audio.Rate {
			m.before, _, _ = e.Troubles()
		}
		room, speaker = append(room, f.Room[:]...), append(speaker, f.Speaker[:]...)
	}
	m.floor = 20 * math.Log10(rms(room[audio.Rate/2:audio.Rate]))
	m.delay, m.clear = audio.LoopDelay(speaker[audio.Rate:], room[audio.Rate:], audio.Rate/2)
	m.level = 20 * math.Log10(rms(room[audio.Rate:])/rms(speaker[audio.Rate:]))
	m.missed, _, _ = e.Troubles()
	m.missed -= m.before
	return m, nil
}

// openSound opens the configured devices, if the sound system answers.
func openSound(c *config.Config, e *audio.Exchange) (*device.Device, error) {
	return device.Answer(func() (*device.Device, error) {
		return device.Open(device.Options{Input: c.Input, Output: c.Output, Buffer: c.Buffer()}, e)
	})
}

func rms(x []float32) float64 {
	sum := 1e-12
	for _, v := range x {
		sum += float64(v) * float64(v)
	}
	return math.Sqrt(sum / float64(max(1, len(x))))
}

package device

import (
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/audio/audiotest"
)

// patience bounds what a loaded machine may take; nothing waits for it in vain.
const patience = time.Minute

// useCard makes this process use a virtual card.
func useCard(t *testing.T, card *audiotest.Card) {
	for _, kv := range card.Env {
		if k, v, ok := strings.Cut(kv, "="); ok && (strings.HasPrefix(k, "PULSE_") || k == "ALSA_CONFIG_PATH") {
			t.Setenv(k, v)
		}
	}
}

// step waits for the next block of the room and sends one to the speaker.
func step(t *testing.T, e *audio.Exchange, f *audio.Frame, speaker []float32) {
	t.Helper()
	for begun := time.Now(); !e.Next(f); time.Sleep(time.Millisecond) {
		if time.Since(begun) > patience {
			t.Fatal("the device stands still")
		}
	}
	e.Send(speaker)
}

// What is played through a virtual card is heard by its microphone, with the
// usual buffer and a larger one; the larger one is heard later.
func TestSoundGoesRound(t *testing.T) {
	card := audiotest.NewCard(t, true)
	server := card.Start(t, audio.Rate)
	defer func() { server.Process.Kill(); server.Wait() }()
	useCard(t, card)
	list, err := List()
	if err != nil || len(list) == 0 || list[0].Default != "in and out" {
		t.Fatalf("devices %+v, %v", list, err)
	}
	r := rand.New(rand.NewPCG(1, 1))
	for _, o := range []Options{{}, {Input: list[0].Name, Output: list[0].Name, Buffer: 100 * time.Millisecond}} {
		e := audio.NewExchange(10)
		e.Ahead(audio.LeadFor(o.Buffer))
		d, err := Open(o, e)
		if err != nil {
			t.Fatal(err)
		}
		if d.Missing() != "" {
			t.Errorf("no %s", d.Missing())
		}
		heard := false
		var f audio.Frame
		for begun := time.Now(); !heard && time.Since(begun) < patience; {
			var room, speaker []float32
			for n := range 150 {
				var out [audio.Block]float32
				for i := range out {
					if n%12 == 0 {
						out[i] = float32(r.NormFloat64() * 0.2)
					}
				}
				step(t, e, &f, out[:])
				room, speaker = append(room, f.Room[:]...), append(speaker, f.Speaker[:]...)
			}
			delay, clear := audio.LoopDelay(speaker, room, audio.Rate/2)
			if heard = clear >= 8; heard {
				t.Logf("buffer %v: heard after %v, clear %.0f", o.Buffer, audio.Duration(int64(delay)), clear)
			}
		}
		if !heard {
			t.Errorf("buffer %v: what was played is not heard", o.Buffer)
		}
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	}
}

// A side that is not there leaves the other; neither is one clear line.
func TestOneSideIsBetterThanNone(t *testing.T) {
	card := audiotest.NewCard(t, false)
	server := card.Start(t, audio.Rate)
	defer func() { server.Process.Kill(); server.Wait() }()
	useCard(t, card)
	var f audio.Frame
	for _, c := range []struct {
		o       Options
		missing string
	}{{Options{Input: "nothing like it"}, "microphone"}, {Options{Output: "nothing like it"}, "loudspeaker"}} {
		e := audio.NewExchange(10)
		d, err := Open(c.o, e)
		if err != nil {
			t.Fatal(err)
		}
		if d.Missing() != c.missing {
			t.Errorf("missing %q, want %q", d.Missing(), c.missing)
		}
		if d.Why() == nil || !strings.Contains(d.Why().Error(), "nothing like it") {
			t.Errorf("no %s for %v, want the name that was not found", c.missing, d.Why())
		}
		for range 10 {
			step(t, e, &f, make([]float32, audio.Block))
		}
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	}
	if err := FindInput("nothing like it"); !errors.Is(err, ErrMissing) || FindInput("") != nil || FindOutput("") != nil {
		t.Errorf("looked for: %v", err)
	}
	_, err := Open(Options{Input: "nothing like it", Output: "nor this"}, audio.NewExchange(1))
	if !errors.Is(err, ErrMissing) || strings.Contains(err.Error(), "\n") {
		t.Errorf("%v, want one line that wraps ErrMissing", err)
	}
}

// opened opens the usual device and waits for its first block.
func opened(t *testing.T) (*Device, *audio.Exchange) {
	t.Helper()
	e := audio.NewExchange(10)
	d, err := Open(Options{}, e)
	if err != nil {
		t.Fatal(err)
	}
	var f audio.Frame
	for begun := time.Now(); !e.Next(&f); time.Sleep(time.Millisecond) {
		if d.Dead() || time.Since(begun) > patience {
			t.Fatalf("no sound from the device after %v; dead: %v", time.Since(begun), d.Dead())
		}
	}
	return d, e
}

// A server that is killed stops the callback without a word: the counter stands
// still, the stream is dead, Close returns, and what comes back can be opened.
func TestDeviceThatGoesAway(t *testing.T) {
	card := audiotest.NewCard(t, false)
	server := card.Start(t, audio.Rate)
	useCard(t, card)
	d, e := opened(t)
	if d.Dead() {
		t.Error("a stream that plays is dead")
	}
	server.Process.Kill()
	server.Wait()
	for begun, calls := time.Now(), e.Calls(); ; calls = e.Calls() {
		if time.Sleep(time.Second); e.Calls() == calls {
			break
		}
		if time.Since(begun) > patience {
			t.Fatal("callbacks go on without a server")
		}
	}
	if !d.Dead() {
		t.Error("a stream without a server is not dead")
	}
	if err := d.Close(); err != nil && !errors.Is(err, ErrStuck) {
		t.Log(err) // whatever it says, it has returned
	}
	if _, err := Open(Options{}, audio.NewExchange(1)); err == nil {
		t.Error("opened a device without a server")
	}
	server = card.Start(t, 44100)
	defer func() { server.Process.Kill(); server.Wait() }()
	d, _ = opened(t)
	d.Close()
}

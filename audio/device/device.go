// Package device opens the sound devices of this machine, by PortAudio (cgo),
// and lets them drive an audio.Exchange.
package device

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/gordonklaus/portaudio"

	"coxswain/audio"
)

// Info describes a sound device.
type Info struct {
	Name    string  `json:"name"`
	Host    string  `json:"host"`
	Inputs  int     `json:"inputs"`
	Outputs int     `json:"outputs"`
	RateHz  float64 `json:"rate_hz"`
	Default string  `json:"default,omitempty"` // "in", "out" or "in and out"
}

// List lists the sound devices of this machine.
func List() ([]Info, error) {
	system.Lock()
	defer system.Unlock()
	if err := initialize(); err != nil {
		return nil, err
	}
	defer portaudio.Terminate()
	all, err := portaudio.Devices()
	if err != nil {
		return nil, fmt.Errorf("sound system: %w", err)
	}
	in, _ := portaudio.DefaultInputDevice()
	out, _ := portaudio.DefaultOutputDevice()
	var list []Info
	for _, d := range all {
		i := Info{Name: d.Name, Inputs: d.MaxInputChannels, Outputs: d.MaxOutputChannels, RateHz: d.DefaultSampleRate}
		if d.HostApi != nil {
			i.Host = d.HostApi.Name
		}
		switch {
		case d == in && d == out:
			i.Default = "in and out"
		case d == in:
			i.Default = "in"
		case d == out:
			i.Default = "out"
		}
		list = append(list, i)
	}
	return list, nil
}

// ErrMissing marks a device that is not there.
var ErrMissing = errors.New("no such sound device")

// Device is an open stream that drives an audio.Exchange.
type Device struct {
	stream  stream
	missing string
	why     error
}

// stream is what a Device needs of a *portaudio.Stream.
type stream interface {
	Start() error
	Abort() error
	Close() error
	Active() bool
}

// Missing is "microphone" or "loudspeaker" if the stream runs without one.
func (d *Device) Missing() string { return d.missing }

// Dead reports whether the stream has ended by itself, as it does when its device fails: it calls back
// no more. Not to be asked once it is closed.
func (d *Device) Dead() bool { return !d.stream.Active() }

// Why is why the stream runs without one side; nil if it has both.
func (d *Device) Why() error { return d.why }

// Options say which devices to open, and how.
type Options struct {
	Input, Output string        // names, as List tells them; empty: the system's default
	Buffer        time.Duration // how much sound the device may hold: see BufferUsual
}

// BufferUsual is what 0 stands for in Options.Buffer. More of it bridges longer
// stalls of a busy machine, and everything is heard by as much later: give
// audio.LeadFor of it to the exchange.
const BufferUsual = 20 * time.Millisecond

// Open opens the devices, mono in and mono out at audio.Rate, and starts the
// stream. If only one side can be had it runs on that side: a metronome without a
// microphone, or a record without a loudspeaker, is better than nothing. The error
// is that of both sides failing.
func Open(o Options, e *audio.Exchange) (*Device, error) {
	system.Lock()
	defer system.Unlock()
	if err := initialize(); err != nil {
		return nil, err
	}
	d, err := openStream(o, e)
	if err != nil && !errors.Is(err, ErrLate) { // it would close the stream that is left behind
		portaudio.Terminate()
	}
	return d, err
}

func openStream(o Options, e *audio.Exchange) (*Device, error) {
	in, ierr := microphone.find(o.Input)
	out, oerr := loudspeaker.find(o.Output)
	var err error
	for _, try := range []struct {
		in, out *portaudio.DeviceInfo
		missing string
	}{{in, out, ""}, {nil, out, microphone.name}, {in, nil, loudspeaker.name}} {
		if try.in == nil && try.missing != microphone.name || try.out == nil && try.missing != loudspeaker.name {
			continue
		}
		s, serr := startStream(try.in, try.out, max(o.Buffer, BufferUsual), e)
		switch {
		case serr == nil:
			why := map[string]error{microphone.name: ierr, loudspeaker.name: oerr}[try.missing]
			return &Device{s, try.missing, firstError(why, err)}, nil
		case errors.Is(serr, ErrLate): // the other side alone would fare no better
			return nil, serr
		}
		err = errors.Join(err, serr)
	}
	return nil, firstError(ierr, oerr, err)
}

// firstError keeps one line: the device that is not there, or why it will not open.
func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			if many, ok := err.(interface{ Unwrap() []error }); ok {
				return many.Unwrap()[0]
			}
			return err
		}
	}
	return nil
}

// startStream starts a stream on one or both sides; a missing side is silent.
func startStream(in, out *portaudio.DeviceInfo, buffer time.Duration, e *audio.Exchange) (stream, error) {
	p := portaudio.StreamParameters{SampleRate: audio.Rate, FramesPerBuffer: audio.Block}
	name := func(d *portaudio.DeviceInfo) string {
		if d == nil {
			return "nothing"
		}
		return d.Name
	}
	if in != nil {
		p.Input = portaudio.StreamDeviceParameters{Device: in, Channels: 1, Latency: buffer}
	}
	if out != nil {
		p.Output = portaudio.StreamDeviceParameters{Device: out, Channels: 1, Latency: buffer}
	}
	s, err := portaudio.OpenStream(p, callback(e, in != nil, out != nil, hardware(in) && hardware(out)))
	if err != nil {
		return nil, fmt.Errorf("cannot open %q and %q at %d Hz mono: %w", name(in), name(out), audio.Rate, err)
	}
	begun := paStream{s}
	if err := begin(begun, e.Calls); err != nil {
		return nil, fmt.Errorf("cannot start the sound stream: %w", err)
	}
	return begun, nil
}

// hardware reports whether a device is a card itself, or not there. Through a
// sound server's ALSA plug-in a real-time thread spins in poll and burns most of
// a core (measured, PulseAudio 16): there it must not have that priority.
func hardware(d *portaudio.DeviceInfo) bool { return d == nil || strings.Contains(d.Name, "(hw:") }

// callback is what the device's thread calls, by the sides that there are.
func callback(e *audio.Exchange, in, out, fast bool) any {
	type flags = portaudio.StreamCallbackFlags
	type info = portaudio.StreamCallbackTimeInfo
	begin := func(i info, fl flags) {
		e.Sounds(until(i))
		if fl&^portaudio.PrimingOutput != 0 {
			e.Flag(fl&(portaudio.InputUnderflow|portaudio.InputOverflow) != 0,
				fl&(portaudio.OutputUnderflow|portaudio.OutputOverflow) != 0)
		}
		if fast && e.Calls() == 0 {
			realTime()
		}
	}
	var quiet [16 * audio.Block]float32 // of the side that is missing
	switch {
	case !in:
		return func(spk []float32, i info, fl flags) {
			begin(i, fl)
			e.Callback(quiet[:min(len(spk), len(quiet))], spk)
		}
	case !out:
		return func(mic []float32, i info, fl flags) {
			begin(i, fl)
			e.Callback(mic, quiet[:min(len(mic), len(quiet))])
		}
	}
	return func(mic, spk []float32, i info, fl flags) { begin(i, fl); e.Callback(mic, spk) }
}

// until is how long it takes until a buffer is heard, by the device's account: zero
// where it gives none that can be (PortAudio v19, PaStreamCallbackTimeInfo).
func until(i portaudio.StreamCallbackTimeInfo) time.Duration {
	d := i.OutputBufferDacTime - i.CurrentTime
	if i.OutputBufferDacTime == 0 || d < 0 || d > 5*time.Second {
		return 0
	}
	return d
}

// side is one of the two that a stream has.
type side struct {
	name      string
	byDefault func() (*portaudio.DeviceInfo, error)
	channels  func(*portaudio.DeviceInfo) int
}

var (
	microphone = side{"microphone", portaudio.DefaultInputDevice,
		func(d *portaudio.DeviceInfo) int { return d.MaxInputChannels }}
	loudspeaker = side{"loudspeaker", portaudio.DefaultOutputDevice,
		func(d *portaudio.DeviceInfo) int { return d.MaxOutputChannels }}
)

// find returns the named device, or the system's default.
func (s side) find(name string) (*portaudio.DeviceInfo, error) {
	if name == "" {
		d, err := s.byDefault()
		if err != nil {
			return nil, fmt.Errorf("%w: no %s found: plug one in and see `coxswain devices`", ErrMissing, s.name)
		}
		return d, nil
	}
	all, err := portaudio.Devices()
	if err != nil {
		return nil, fmt.Errorf("sound system: %w", err)
	}
	for _, d := range all {
		if d.Name == name && s.channels(d) > 0 {
			return d, nil
		}
	}
	return nil, fmt.Errorf("%w: %s %q: see `coxswain devices`", ErrMissing, s.name, name)
}

// FindInput looks for a microphone of this name, as List tells it; empty: the system's default.
// The error wraps ErrMissing if there is none.
func FindInput(name string) error { return microphone.look(name) }

// FindOutput looks for a loudspeaker as FindInput does for a microphone.
func FindOutput(name string) error { return loudspeaker.look(name) }

func (s side) look(name string) error {
	system.Lock()
	defer system.Unlock()
	if err := initialize(); err != nil {
		return err
	}
	defer portaudio.Terminate()
	_, err := s.find(name)
	return err
}

// system guards PortAudio, which is for one thread at a time.
var system sync.Mutex

// initialize looks for the machine's devices anew, unless a stream is open.
func initialize() error {
	if err := prepare(); err != nil {
		return err
	}
	if err := portaudio.Initialize(); err != nil {
		return fmt.Errorf("sound system: %w", err)
	}
	return nil
}

package recorder

import (
	"errors"
	"fmt"
	"io"
	"os"

	goaudio "github.com/go-audio/audio"
	"github.com/go-audio/wav"

	"coxswain/audio"
)

// Reader reads a 16-bit WAV file in pieces.
type Reader struct {
	Name     string
	Channels int
	SampleHz int
	Samples  int64 // samples a channel that the header promises
	d        *wav.Decoder
	f        *os.File
	buf      *goaudio.IntBuffer
	read     int64
}

// OpenWAV opens a 16-bit PCM WAV file. Errors say what is wrong with it and
// what to do.
func OpenWAV(path string) (*Reader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	d := wav.NewDecoder(f)
	if !d.IsValidFile() || d.FwdToPCM() != nil {
		f.Close()
		return nil, fmt.Errorf("%s: not a WAV file: convert it with: sox IN -r %d -c 1 -b 16 OUT.wav", path, audio.Rate)
	}
	if d.WavAudioFormat != 1 && d.WavAudioFormat != 0xfffe || d.BitDepth != 16 {
		f.Close()
		return nil, fmt.Errorf("%s: %d-bit samples of format %d, want 16-bit PCM: convert it with: sox %s -b 16 OUT.wav", path, d.BitDepth, d.WavAudioFormat, path)
	}
	r := &Reader{Name: path, Channels: int(d.NumChans), SampleHz: int(d.SampleRate), d: d, f: f}
	r.Samples = int64(d.PCMSize) / 2 / int64(max(1, r.Channels))
	r.buf = &goaudio.IntBuffer{Data: make([]int, 4096*max(1, r.Channels)), Format: &goaudio.Format{NumChannels: r.Channels, SampleRate: r.SampleHz}}
	return r, nil
}

// OpenMono opens a WAV file that must be mono at one of the given rates.
func OpenMono(path string, rates ...int) (*Reader, error) {
	r, err := OpenWAV(path)
	if err != nil {
		return nil, err
	}
	ok := false
	for _, hz := range rates {
		ok = ok || r.SampleHz == hz
	}
	if r.Channels != 1 || !ok {
		r.Close()
		return nil, fmt.Errorf("%s: %d channels at %d Hz, want mono at %v Hz: convert it with: sox %s -r %d -c 1 OUT.wav", path, r.Channels, r.SampleHz, rates, path, rates[0])
	}
	return r, nil
}

// ErrTruncated marks a file that ends before its header says.
var ErrTruncated = errors.New("the file is truncated")

// Read fills p with samples in -1..1 (interleaved, if there are channels) and
// returns how many. At the end it returns io.EOF; if the header promised more
// samples, an error that wraps ErrTruncated.
func (r *Reader) Read(p []float32) (int, error) {
	n := 0
	for n < len(p) {
		r.buf.Data = r.buf.Data[:min(cap(r.buf.Data), len(p)-n)]
		k, err := r.d.PCMBuffer(r.buf)
		for i, v := range r.buf.Data[:k] {
			p[n+i] = float32(v) / 32768
		}
		n += k
		if err != nil && err != io.EOF && !errors.Is(err, io.ErrUnexpectedEOF) {
			return n, fmt.Errorf("%s: %w", r.Name, err)
		}
		if k == 0 {
			break
		}
	}
	r.read += int64(n)
	if n == 0 {
		if got := r.read / int64(max(1, r.Channels)); got < r.Samples {
			return 0, fmt.Errorf("%s: %w: %d samples of %d are there", r.Name, ErrTruncated, got, r.Samples)
		}
		return 0, io.EOF
	}
	return n, nil
}

// Close closes the file.
func (r *Reader) Close() error { return r.f.Close() }

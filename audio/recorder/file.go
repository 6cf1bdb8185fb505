package recorder

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"

	goaudio "github.com/go-audio/audio"
	"github.com/go-audio/wav"

	"coxswain/audio"
)

// The rates that can be read, in Hz.
const minHz, maxHz = 8000, 192000

// Reader reads a WAV file in pieces: 16, 24 or 32-bit integers or 32-bit floating
// point, 1 to 64 channels, 8 to 192 kHz.
type Reader struct {
	Name     string
	Channels int
	SampleHz int
	Samples  int64    // samples a channel that the header promises, or that are there
	Notes    []string // what was done to the sound that its owner should know
	Odd      int64    // numbers read so far that are none, or infinite: heard as silence
	l        layout
	d        *wav.Decoder
	f        io.Closer
	buf      *goaudio.IntBuffer
	read     int64
	mono     *mono
}

// OpenWAV opens a WAV file as it is. The error says what is wrong with it and what
// to do.
func OpenWAV(path string) (*Reader, error) {
	f, err := OpenNamed(path)
	if err != nil {
		return nil, err
	}
	st, err := f.Stat()
	var r *Reader
	if err == nil {
		r, err = newReader(path, f, st.Size())
	}
	if err != nil {
		f.Close()
		return nil, howToConvert(path, err, audio.Rate)
	}
	r.f = f
	return r, nil
}

func howToConvert(path string, err error, hz int) error {
	return fmt.Errorf("%s: %w: convert it with: ffmpeg -i %s -ar %d -ac 1 OUT.wav", path, err, path, hz)
}

func newReader(name string, f io.ReaderAt, size int64) (*Reader, error) {
	l, err := scan(f, size)
	if err != nil {
		return nil, err
	}
	r := &Reader{Name: name, Channels: l.channels, SampleHz: l.hz, l: l}
	frame := int64(l.channels * l.bits / 8)
	r.Samples = max(l.promised, l.length) / frame
	if l.note != "" {
		r.Notes = append(r.Notes, l.note)
	}
	// The decoder gets a header with nothing in it but the format, and then the sound.
	r.d = wav.NewDecoder(bytes.NewReader(l.header()))
	if err := r.d.FwdToPCM(); err != nil {
		return nil, err
	}
	whole := l.length - l.length%frame
	r.d.PCMChunk.R = fullReads{io.NewSectionReader(f, l.at, whole)}
	r.buf = &goaudio.IntBuffer{Data: make([]int, 4096*l.channels)}
	return r, nil
}

// header is a WAV header of the same format with no sound after it.
func (l layout) header() []byte {
	b := []byte("RIFF\x24\x00\x00\x00WAVEfmt \x10\x00\x00\x00")
	frame := l.channels * l.bits / 8
	b = binary.LittleEndian.AppendUint16(b, pcm)
	b = binary.LittleEndian.AppendUint16(b, uint16(l.channels))
	b = binary.LittleEndian.AppendUint32(b, uint32(l.hz))
	b = binary.LittleEndian.AppendUint32(b, uint32(l.hz*frame))
	b = binary.LittleEndian.AppendUint16(b, uint16(frame))
	b = binary.LittleEndian.AppendUint16(b, uint16(l.bits))
	return append(b, "data\x00\x00\x00\x00"...)
}

// fullReads never returns half a sample before the end.
type fullReads struct{ r io.Reader }

// Read implements io.Reader.
func (f fullReads) Read(p []byte) (int, error) {
	n, err := io.ReadFull(f.r, p)
	if errors.Is(err, io.ErrUnexpectedEOF) {
		err = nil
	}
	return n, err
}

// OpenMono opens a WAV file as one channel at one of the given rates in Hz, and
// converts what is otherwise: Notes then tell. Of a file of an audio log channel 1
// is taken, the room; of others the mean of the channels.
func OpenMono(path string, rates ...int) (*Reader, error) {
	r, err := OpenWAV(path)
	if err != nil {
		return nil, err
	}
	if r.Channels == 1 && slices.Contains(rates, r.SampleHz) {
		return r, nil
	}
	if err := r.convert(rates); err != nil {
		r.Close()
		return nil, howToConvert(path, err, rates[0])
	}
	return r, nil
}

// ErrTruncated marks a file that ends before its header says.
var ErrTruncated = errors.New("the file is truncated")

// Read fills p with samples in -1..1 (interleaved, if there are channels) and
// returns how many. At the end it returns io.EOF; if the header promised more
// samples, an error that wraps ErrTruncated.
func (r *Reader) Read(p []float32) (int, error) {
	if r.mono != nil {
		return r.mono.read(r, p)
	}
	return r.decode(p)
}

// decode reads samples as they are in the file.
func (r *Reader) decode(p []float32) (int, error) {
	n := 0
	for n < len(p) {
		r.buf.Data = r.buf.Data[:min(cap(r.buf.Data), len(p)-n)]
		k, err := r.d.PCMBuffer(r.buf)
		for i, v := range r.buf.Data[:k] {
			x, ok := r.l.sample(v)
			if p[n+i] = x; !ok {
				r.Odd++
			}
		}
		n += k
		if err != nil && err != io.EOF {
			return n, fmt.Errorf("%s: %w", r.Name, err)
		}
		if k == 0 {
			break
		}
	}
	r.read += int64(n)
	if n > 0 {
		return n, nil
	}
	frame := int64(r.l.channels)
	if want := r.l.promised * 8 / int64(r.l.bits) / frame; r.read/frame < want {
		return 0, fmt.Errorf("%s: %w: %d samples of %d are there", r.Name, ErrTruncated, r.read/frame, want)
	}
	return 0, io.EOF
}

// sample is a decoded number as a sample in -1..1; what is none, or infinite, is
// silence, and not ok.
func (l layout) sample(v int) (x float32, ok bool) {
	if l.format != ieeeFloat {
		return float32(v) / float32(int64(1)<<(l.bits-1)), true
	}
	f := math.Float32frombits(uint32(int32(v)))
	if f-f != 0 {
		return 0, false
	}
	return max(-1, min(1, f)), true
}

// Afterwards is what was found of the sound while it was read that its owner
// should know; empty: nothing.
func (r *Reader) Afterwards() string {
	if r.Odd == 0 {
		return ""
	}
	return fmt.Sprintf("%d of its %d numbers are none (NaN) or infinite, and were heard as silence", r.Odd, r.read)
}

// Close closes the file.
func (r *Reader) Close() error { return r.f.Close() }

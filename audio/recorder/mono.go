package recorder

import (
	"fmt"
	"slices"

	"coxswain/audio"
	"coxswain/audio/resample"
)

// mono makes one channel, and another rate, of what a file holds.
type mono struct {
	channels  int
	take      int // the channel that is taken; negative: the mean of all
	from, to  int // Hz
	resampler *resample.Resampler
	raw       []float32 // as in the file
	in        []float32 // one channel of it
	buf, out  []float32 // converted, and what of it is not read yet
	made      int64     // samples converted
	end       error     // what the file ended with
}

// convert makes r a reader of one channel at one of the rates, the first if need be.
func (r *Reader) convert(rates []int) error {
	m := &mono{channels: r.Channels, take: -1, from: r.SampleHz, to: r.SampleHz, raw: make([]float32, 4096*r.Channels)}
	switch {
	case r.l.ours && r.Channels == 2:
		m.take = 0
		r.note("channel 1 of a record is heard: the room")
	case r.Channels > 1:
		r.note("the mean of its %d channels is heard", r.Channels)
	}
	if !slices.Contains(rates, m.from) {
		m.to = rates[0]
		var err error
		if m.resampler, err = resample.New(m.from, m.to); err != nil {
			return err
		}
		r.note("converted from %d Hz to %d Hz", m.from, m.to)
		if m.from < audio.ListenRate {
			r.note("nothing above %d Hz is in it: callouts are heard worse", m.from/2)
		}
	}
	r.Samples, r.SampleHz, r.Channels, r.mono = m.converted(r.Samples), m.to, 1, m
	return nil
}

func (r *Reader) note(format string, args ...any) {
	r.Notes = append(r.Notes, fmt.Sprintf(format, args...))
}

// converted is how many samples so many become.
func (m *mono) converted(n int64) int64 { return (n*int64(m.to) + int64(m.from) - 1) / int64(m.from) }

// read fills p, as Reader.Read does.
func (m *mono) read(r *Reader, p []float32) (int, error) {
	n := 0
	for n < len(p) && m.more(r) {
		k := copy(p[n:], m.out)
		n, m.out = n+k, m.out[k:]
	}
	if n == 0 && len(p) > 0 {
		return 0, m.end
	}
	return n, nil
}

// more converts the next piece of the file, unless some is left of the last.
func (m *mono) more(r *Reader) bool {
	for len(m.out) == 0 {
		k, err := r.decode(m.raw)
		if err != nil {
			m.end = err
			rest := m.converted(r.read/int64(m.channels)) - m.made
			if rest <= 0 {
				return false
			}
			clear(m.raw) // what the filter still holds comes out behind silence
			m.rate(m.mix(m.raw))
			m.out = m.out[:min(int64(len(m.out)), rest)]
		} else {
			m.rate(m.mix(m.raw[:k]))
		}
		m.made += int64(len(m.out))
	}
	return true
}

// mix makes one channel of interleaved samples.
func (m *mono) mix(raw []float32) []float32 {
	m.in = m.in[:0]
	for frame := range slices.Chunk(raw, m.channels) {
		if m.take >= 0 {
			m.in = append(m.in, frame[m.take])
			continue
		}
		var sum float32
		for _, x := range frame {
			sum += x
		}
		m.in = append(m.in, sum/float32(m.channels))
	}
	return m.in
}

// rate puts samples at the other rate into out.
func (m *mono) rate(in []float32) {
	if m.resampler == nil {
		m.out = in
		return
	}
	m.buf = slices.Grow(m.buf[:0], int(m.converted(int64(len(in))))+64)
	m.buf = m.buf[:cap(m.buf)]
	made := 0
	for len(in) > 0 && made < len(m.buf) {
		used, n := m.resampler.Process(in, m.buf[made:])
		if used == 0 && n == 0 {
			break
		}
		in, made = in[used:], made+n
	}
	m.out = m.buf[:made]
}

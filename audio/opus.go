package audio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"strings"

	"github.com/faiface/beep"
	"github.com/pion/opus"
	"github.com/pion/opus/pkg/oggreader"
)

// Opus is a Sound in an Ogg Opus file (RFC 6716, RFC 7845), decoded packet by
// packet while it plays: 20 ms of sound take about 0.1 ms.
type Opus struct {
	name, title string
	file        []byte
	skip, n     int // samples at Rate before the sound begins, and in it
}

// LoadOpus reads the length and the title of an Ogg Opus file of one channel and
// checks that its sound can be decoded. The error names the file.
func LoadOpus(name string, file []byte) (*Opus, error) {
	o := &Opus{name: name, file: file}
	pages, head, err := oggreader.NewWith(bytes.NewReader(file))
	if err != nil {
		return nil, fmt.Errorf("%s: not an Opus clip: %w", name, err)
	}
	if head.Channels != 1 {
		return nil, fmt.Errorf("%s: %d channels, want one", name, head.Channels)
	}
	tags, _, err := pages.ParseNextPacket()
	if err != nil {
		return nil, fmt.Errorf("%s: not an Opus clip: %w", name, err)
	}
	o.title = title(tags)
	last := bytes.LastIndex(file, []byte("OggS")) // RFC 7845, 4: its granule position tells the length
	if last < 0 || len(file) < last+14 {
		return nil, fmt.Errorf("%s: cut off", name)
	}
	end := binary.LittleEndian.Uint64(file[last+6:])
	o.skip = int(head.PreSkip)
	if end <= uint64(o.skip) || end > longest {
		return nil, fmt.Errorf("%s: holds no sound, or more than a minute", name)
	}
	o.n = int(end) - o.skip
	return o, nil
}

// title is the title in an Opus comment header (RFC 7845, 5.2), or empty.
func title(tags []byte) string {
	field := func() string { // a length and so many bytes
		if len(tags) < 4 {
			return ""
		}
		n := min(uint64(binary.LittleEndian.Uint32(tags)), uint64(len(tags)-4))
		s := string(tags[4 : 4+n])
		tags = tags[4+n:]
		return s
	}
	tags = bytes.TrimPrefix(tags, []byte("OpusTags"))
	field()                         // who made the encoder
	tags = tags[min(4, len(tags)):] // how many comments follow
	for len(tags) > 0 {
		if name, value, ok := strings.Cut(field(), "="); ok && strings.EqualFold(name, "title") {
			return strings.ToValidUTF8(value, "")
		} else if len(tags) < 4 {
			break
		}
	}
	return ""
}

// Title is what the file says that is spoken in it.
func (o *Opus) Title() string { return o.title }

// Len implements Sound.
func (o *Opus) Len() int { return o.n }

// Stream implements Sound.
func (o *Opus) Stream() beep.Streamer {
	s := &opusStream{skip: o.skip, left: o.n, out: make([]float32, 120*Rate/1000)} // the longest packet
	var err error
	if s.packets, _, err = oggreader.NewWith(bytes.NewReader(o.file)); err == nil {
		_, _, err = s.packets.ParseNextPacket() // the tags
	}
	if err == nil {
		s.decoder, err = opus.NewDecoderWithOutput(Rate, 1)
	}
	if err != nil {
		s.fail(o.name, err)
	}
	return s
}

type opusStream struct {
	packets    *oggreader.OggReader
	decoder    opus.Decoder
	out, ready []float32
	skip, left int // samples to leave out, and still to play
	err        error
}

func (s *opusStream) fail(name string, err error) {
	s.err, s.left = fmt.Errorf("%s: %w", name, err), 0
}

// Stream implements beep.Streamer.
func (s *opusStream) Stream(buf [][2]float64) (int, bool) {
	n := 0
	for n < len(buf) && s.left > 0 {
		if len(s.ready) == 0 {
			s.decode()
			continue
		}
		k := min(len(buf)-n, len(s.ready), s.left)
		for i, x := range s.ready[:k] {
			buf[n+i] = [2]float64{float64(x), float64(x)}
		}
		s.ready, s.left, n = s.ready[k:], s.left-k, n+k
	}
	return n, n > 0
}

func (s *opusStream) decode() {
	packet, _, err := s.packets.ParseNextPacket()
	if err != nil {
		s.fail("Opus clip", err)
		return
	}
	n, err := s.decoder.DecodeToFloat32(packet, s.out)
	if err != nil {
		s.fail("Opus clip", err)
		return
	}
	gone := min(s.skip, n)
	s.skip -= gone
	s.ready = s.out[gone:n]
}

// Err implements beep.Streamer.
func (s *opusStream) Err() error { return s.err }

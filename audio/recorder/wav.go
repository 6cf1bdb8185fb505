package recorder

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
)

// layout is where the sound of a WAV file lies, and what it is.
type layout struct {
	format         uint16 // 1: integers, 3: floating point
	channels, bits int
	hz             int
	at, length     int64 // bytes of sound that are there
	promised       int64 // bytes of sound that the header speaks of, if it does
	ours           bool  // a file of an audio log: channel 1 is the room, channel 2 coxswain
	note           string
}

const (
	pcm        = 1
	ieeeFloat  = 3
	extensible = 0xfffe
)

// scan walks over the chunks of a RIFF WAVE file (Multimedia Programming Interface
// and Data Specifications 1.0, 1991) of so many bytes. It reads chunk headers, and
// of what they contain only the format and an originator: a chunk that claims to be
// larger than the file is no reason to read it.
func scan(f io.ReaderAt, size int64) (l layout, err error) {
	var head [12]byte
	if _, err := f.ReadAt(head[:], 0); err != nil || string(head[:4]) != "RIFF" || string(head[8:]) != "WAVE" {
		return l, fmt.Errorf("not a WAV file%s", looksLike(head[:]))
	}
	for at := int64(12); at+8 <= size; {
		var chunk [8]byte
		if _, err := f.ReadAt(chunk[:], at); err != nil {
			return l, fmt.Errorf("cannot be read: %w", err)
		}
		id, n := string(chunk[:4]), int64(binary.LittleEndian.Uint32(chunk[4:]))
		at += 8
		switch id {
		case "fmt ":
			if l, err = l.describe(f, at, n); err != nil {
				return l, err
			}
		case "bext":
			var who [32]byte // EBU Tech 3285: the originator follows 256 bytes of description
			f.ReadAt(who[:], at+256)
			l.ours = string(bytes.TrimRight(who[:], "\x00")) == originator
		case "data":
			if l.channels == 0 {
				return l, fmt.Errorf("its sound comes before its format")
			}
			l.at = at
			return l.measure(n, size-at), nil
		}
		at += n + n%2
	}
	return l, fmt.Errorf("a WAV file without sound")
}

// known reports whether samples of this kind are read.
func (l layout) known() bool {
	switch l.format {
	case pcm:
		return l.bits == 16 || l.bits == 24 || l.bits == 32
	case ieeeFloat:
		return l.bits == 32
	}
	return false
}

// describe reads a format chunk.
func (l layout) describe(f io.ReaderAt, at, n int64) (layout, error) {
	b := make([]byte, min(n, 40))
	if len(b) < 16 {
		return l, fmt.Errorf("its format chunk has %d bytes, want 16", n)
	}
	if _, err := f.ReadAt(b, at); err != nil {
		return l, fmt.Errorf("cut off in its header")
	}
	word := func(i int) int { return int(binary.LittleEndian.Uint16(b[i:])) }
	l.format, l.channels, l.bits = uint16(word(0)), word(2), word(14)
	l.hz = int(min(binary.LittleEndian.Uint32(b[4:]), 1<<30))
	if l.format == extensible && len(b) == 40 {
		l.format = uint16(word(24)) // the first two bytes of the subformat
	}
	if !l.known() {
		return l, fmt.Errorf("%d-bit samples of format %d, want 16, 24 or 32-bit integers or 32-bit floating point",
			l.bits, l.format)
	}
	if l.channels < 1 || l.channels > 64 || l.hz < minHz || l.hz > maxHz {
		return l, fmt.Errorf("%d channels at %d Hz, want 1 to 64 at %d to %d Hz", l.channels, l.hz, minHz, maxHz)
	}
	if got, want := word(12), l.channels*l.bits/8; got != want {
		return l, fmt.Errorf("its header contradicts itself: %d bytes a sample of %d channels and %d bits, want %d",
			got, l.channels, l.bits, want)
	}
	return l, nil
}

// measure compares what the header says with what is there. Programs that write
// into a pipe, or were killed, leave a length of 0 or the largest they know.
func (l layout) measure(said, rest int64) layout {
	l.promised, l.length = said, min(said, rest)
	const endless = 0x7ff00000 // sox says 0x7ffff000 and less, ffmpeg 0xffffffff
	if said > rest && said >= endless || said == 0 && rest > 0 {
		l.length, l.promised = rest, 0
		l.note = "its header does not say how long it is: read to the end of the file, which may be cut off"
	}
	return l
}

// looksLike names other kinds of sound file, for the error.
func looksLike(head []byte) string {
	for magic, name := range map[string]string{
		"fLaC": "FLAC", "OggS": "Ogg", "ID3": "MP3", "\xff\xfb": "MP3", "FORM": "AIFF", "RF64": "RF64", "RIFX": "RIFX",
		"\x1aE\xdf\xa3": "Matroska",
	} {
		if bytes.HasPrefix(head, []byte(magic)) {
			return ", but " + name
		}
	}
	if len(head) >= 8 && string(head[4:8]) == "ftyp" {
		return ", but MPEG-4"
	}
	return ""
}

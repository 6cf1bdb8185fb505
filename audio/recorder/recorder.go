// Package recorder keeps the sound of a session on disk, in files that are whole
// at any moment, and reads WAV files.
package recorder

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sort"
	"time"

	"coxswain/audio"
)

// PartLength is how many samples go into one file of the audio log: an hour,
// far from the 4 GiB that a RIFF size can say.
const PartLength = 3600 * audio.Rate

// checkpointEvery is how often the header is made true and the data flushed.
const checkpointEvery = audio.Rate / 2

// Mark is a labelled moment of the audio log.
type Mark struct {
	At    int64 // clock sample
	Label string
}

// Recorder writes the audio log of a session: 16-bit stereo WAV at audio.Rate,
// channel 1 the room, channel 2 the speaker, in files audio-00.wav,
// audio-01.wav and so on of PartLength each. Every file is a Broadcast Wave
// (EBU Tech 3285 v1) whose TimeReference is the clock time of its first
// sample. A file is valid at any moment, up to the last half second: the data
// is flushed first and the sizes in the header after it. Labels follow when a
// file is finished. A Recorder is for one goroutine.
type Recorder struct {
	dir    string
	origin time.Time
	about  string
	f      *os.File
	part   int
	pos    int64 // clock sample that comes next
	start  int64 // clock sample that the present file began with
	flushd int64
	buf    []byte
	marks  []Mark
}

// New starts the audio log in dir. origin is the wall-clock time of
// sample 0; about goes into the files' description (64 characters at most).
func New(dir string, origin time.Time, about string) (*Recorder, error) {
	r := &Recorder{dir: dir, origin: origin, about: about}
	return r, r.open()
}

// Resume goes on with the audio log in dir after a cut, at clock sample
// pos: what lies between the last sound and pos is silence. It returns how many
// samples were there. marks are the labels of the events so far.
func Resume(dir string, origin time.Time, about string, pos int64, marks []Mark) (*Recorder, int64, error) {
	r := &Recorder{dir: dir, origin: origin, about: about, marks: marks}
	for { // the last part, and where it begins
		st, err := os.Stat(filepath.Join(dir, PartName(r.part+1)))
		if err != nil || st.IsDir() {
			break
		}
		r.part++
	}
	r.start = int64(r.part) * PartLength
	f, err := os.OpenFile(filepath.Join(dir, PartName(r.part)), os.O_RDWR, 0)
	if err != nil {
		return nil, 0, fmt.Errorf("cannot go on with the audio log: %w", err)
	}
	st, err := f.Stat()
	if err != nil {
		return nil, 0, err
	}
	had := r.start + max(0, (st.Size()-headerSize)/4)
	if _, err := f.WriteAt(header(origin, r.start, about), 0); err != nil { // it may have been cut off within its header
		return nil, had, fmt.Errorf("audio log: %w", err)
	}
	r.f, r.pos, r.flushd = f, max(pos, had), max(pos, had)
	for r.pos-r.start >= PartLength { // the cut lasted past the end of the part
		at := r.pos
		r.pos = r.start + PartLength
		if err := r.turn(); err != nil {
			return nil, had, err
		}
		r.pos = at
	}
	// Silence up to pos is there at once, so that the file is whole at any moment.
	if err := r.f.Truncate(headerSize + 4*(r.pos-r.start)); err != nil {
		return nil, had, fmt.Errorf("audio log: %w", err)
	}
	return r, had, r.Checkpoint()
}

// turn finishes a part and begins the next.
func (r *Recorder) turn() error {
	if err := r.finish(); err != nil {
		return err
	}
	r.part++
	return r.open()
}

// PartName is the name of file n of an audio log.
func PartName(n int) string { return fmt.Sprintf("audio-%02d.wav", n) }

func (r *Recorder) open() error {
	f, err := os.OpenFile(filepath.Join(r.dir, PartName(r.part)), os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return fmt.Errorf("cannot start the audio log: %w", err)
	}
	r.f, r.start, r.flushd = f, r.pos, r.pos
	if _, err = f.Write(header(r.origin, r.start, r.about)); err != nil {
		return fmt.Errorf("audio log: %w", err)
	}
	return nil
}

// Write appends one block of the room and of the speaker, of equal length.
func (r *Recorder) Write(room, speaker []float32) error {
	r.buf = r.buf[:0]
	for i := range room {
		r.buf = binary.LittleEndian.AppendUint16(r.buf, uint16(audio.PCM16(room[i])))
		r.buf = binary.LittleEndian.AppendUint16(r.buf, uint16(audio.PCM16(speaker[i])))
	}
	// At its place, not at the end: after a failed write the log goes on in
	// step with the clock, and what could not be written is silence.
	if _, err := r.f.WriteAt(r.buf, headerSize+4*(r.pos-r.start)); err != nil {
		r.pos += int64(len(room))
		return fmt.Errorf("audio log: %w", err)
	}
	r.pos += int64(len(room))
	if r.pos-r.flushd >= checkpointEvery {
		if err := r.Checkpoint(); err != nil {
			return err
		}
	}
	if r.pos-r.start >= PartLength {
		return r.turn()
	}
	return nil
}

// Mark labels a clock sample. Labels are written when their file is finished.
func (r *Recorder) Mark(m Mark) { r.marks = append(r.marks, m) }

// Checkpoint flushes the data and makes the sizes in the header true.
func (r *Recorder) Checkpoint() error {
	r.flushd = r.pos
	if err := r.f.Sync(); err != nil {
		return fmt.Errorf("audio log: %w", err)
	}
	return patchSizes(r.f, 4*(r.pos-r.start), 0)
}

// Close writes the labels and finishes the last file.
func (r *Recorder) Close() error { return r.finish() }

func (r *Recorder) finish() error {
	err := finishPart(r.f, r.start, r.pos-r.start, r.marks)
	if cerr := r.f.Close(); err == nil {
		err = cerr
	}
	return err
}

// finishPart writes the labels of one file behind its data.
func finishPart(f *os.File, start, length int64, marks []Mark) error {
	chunks := labels(start, length, marks)
	if _, err := f.WriteAt(chunks, headerSize+4*length); err != nil {
		return fmt.Errorf("audio log: %w", err)
	}
	if err := f.Sync(); err != nil {
		return fmt.Errorf("audio log: %w", err)
	}
	if err := patchSizes(f, 4*length, int64(len(chunks))); err != nil {
		return err
	}
	return f.Sync()
}

// Mend finishes the audio log of a session that was cut off: sizes from what
// is there, labels from marks. It returns the number of clock samples kept.
func Mend(dir string, marks []Mark) (int64, error) {
	var start int64
	for n := 0; ; n++ {
		f, err := os.OpenFile(filepath.Join(dir, PartName(n)), os.O_RDWR, 0)
		if os.IsNotExist(err) && n > 0 {
			return start, nil
		}
		if err != nil {
			return start, err
		}
		length, err := mendPart(f, start, marks)
		f.Close()
		if err != nil {
			return start, fmt.Errorf("%s: %w", PartName(n), err)
		}
		start += length
	}
}

func mendPart(f *os.File, start int64, marks []Mark) (int64, error) {
	st, err := f.Stat()
	if err != nil {
		return 0, err
	}
	length := max(0, (st.Size()-headerSize)/4)
	var size [4]byte
	if _, err := f.ReadAt(size[:], headerSize-4); err == nil {
		if said := int64(binary.LittleEndian.Uint32(size[:])) / 4; said < length && st.Size() > headerSize+4*said+8 && labelled(f, headerSize+4*said) {
			return said, nil // finished already
		}
	}
	if err := f.Truncate(headerSize + 4*length); err != nil {
		return 0, err
	}
	return length, finishPart(f, start, length, marks)
}

func labelled(f *os.File, at int64) bool {
	var id [4]byte
	_, err := f.ReadAt(id[:], at)
	return err == nil && string(id[:]) == "cue "
}

// headerSize is the offset of the first sample: RIFF, fmt, bext, data header.
const headerSize = 12 + 24 + 8 + bextSize + 8

const bextSize = 602 // EBU Tech 3285, without coding history

// header is a WAV header with sizes 0; patchSizes makes them true.
func header(origin time.Time, start int64, about string) []byte {
	var b bytes.Buffer
	le := func(v any) { binary.Write(&b, binary.LittleEndian, v) }
	text := func(s string, n int) { b.Write(append([]byte(s), make([]byte, n)...)[:n]) }
	b.WriteString("RIFF\x00\x00\x00\x00WAVEfmt ")
	le(uint32(16))
	le([]uint16{1, 2})
	le([]uint32{audio.Rate, audio.Rate * 4})
	le([]uint16{4, 16})
	b.WriteString("bext")
	le(uint32(bextSize))
	first := origin.Add(audio.Duration(start))
	midnight := time.Date(origin.Year(), origin.Month(), origin.Day(), 0, 0, 0, 0, origin.Location())
	ref := uint64(start) + samplesOf(origin.Sub(midnight))
	text(about, 256)
	text("coxswain", 32)
	text(origin.Format("20060102T150405Z0700"), 32)
	text(first.Format("2006-01-02"), 10)
	text(first.Format("15:04:05"), 8)
	le(ref)
	le(uint16(1))
	b.Write(make([]byte, 64+10+180)) // UMID, loudness fields of version 2, reserved
	b.WriteString("data\x00\x00\x00\x00")
	return b.Bytes()
}

func samplesOf(d time.Duration) uint64 {
	return uint64(d/time.Second)*audio.Rate + uint64(d%time.Second)*audio.Rate/uint64(time.Second)
}

func patchSizes(f *os.File, data, after int64) error {
	var b [4]byte
	binary.LittleEndian.PutUint32(b[:], uint32(data))
	if _, err := f.WriteAt(b[:], headerSize-4); err != nil {
		return fmt.Errorf("audio log: %w", err)
	}
	binary.LittleEndian.PutUint32(b[:], uint32(headerSize-8+data+after))
	if _, err := f.WriteAt(b[:], 4); err != nil {
		return fmt.Errorf("audio log: %w", err)
	}
	return nil
}

// labels encodes marks within [start, start+length) as a `cue ` chunk and a
// LIST of type adtl (RIFF, Multimedia Programming Interface 1.0, 1991).
func labels(start, length int64, marks []Mark) []byte {
	in := make([]Mark, 0, len(marks))
	for _, m := range marks {
		if m.At >= start && m.At < start+length {
			in = append(in, m)
		}
	}
	sort.SliceStable(in, func(i, j int) bool { return in[i].At < in[j].At })
	var cue, adtl bytes.Buffer
	le := func(b *bytes.Buffer, v ...any) {
		for _, x := range v {
			binary.Write(b, binary.LittleEndian, x)
		}
	}
	le(&cue, []byte("cue "), uint32(4+24*len(in)), uint32(len(in)))
	adtl.WriteString("adtl")
	for i, m := range in {
		id, at := uint32(i+1), uint32(m.At-start)
		le(&cue, id, at, []byte("data"), uint32(0), uint32(0), at)
		label := append([]byte(m.Label), 0)
		le(&adtl, []byte("labl"), uint32(4+len(label)), id, label)
		if len(label)%2 == 1 {
			adtl.WriteByte(0)
		}
	}
	le(&cue, []byte("LIST"), uint32(adtl.Len()), adtl.Bytes())
	return cue.Bytes()
}

// readHead returns the header of a file of an audio log.
func readHead(f *os.File) ([]byte, error) {
	head := make([]byte, headerSize)
	if _, err := io.ReadFull(f, head); err != nil || string(head[:4]) != "RIFF" || string(head[36:40]) != "bext" {
		return nil, fmt.Errorf("%s: not a file of an audio log, or cut off in its header", f.Name())
	}
	return head, nil
}

// CheckPart reports whether the sizes in a file of an audio log agree with the
// file: what an editor needs to open it whole.
func CheckPart(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return err
	}
	head, err := readHead(f)
	if err != nil {
		return err
	}
	riff, data := int64(binary.LittleEndian.Uint32(head[4:])), int64(binary.LittleEndian.Uint32(head[headerSize-4:]))
	switch {
	case st.Size() < headerSize+data:
		return fmt.Errorf("%s: %d bytes of audio are missing at its end", path, headerSize+data-st.Size())
	case riff+8 != st.Size():
		return fmt.Errorf("%s: its header speaks of %d bytes, it has %d: finish the record with `coxswain mend`", path, riff+8, st.Size())
	}
	return nil
}

// PartData tells where the samples of one file of an audio log lie: offset and
// length in bytes, from the header or, if the file was never finished, its size.
func PartData(path string) (start, length int64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, 0, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return 0, 0, err
	}
	head, err := readHead(f)
	if err != nil {
		return 0, 0, err
	}
	said := int64(binary.LittleEndian.Uint32(head[headerSize-4:]))
	if rest := st.Size() - headerSize; said == 0 || said > rest {
		said = rest - rest%4
	}
	return headerSize, said, nil
}

// Relabel writes new labels into the files of a finished audio log.
func Relabel(dir string, marks []Mark) error {
	var start int64
	for n := 0; ; n++ {
		path := filepath.Join(dir, PartName(n))
		if _, err := os.Stat(path); os.IsNotExist(err) && n > 0 {
			return nil
		}
		from, bytes, err := PartData(path)
		if err != nil {
			return err
		}
		f, err := os.OpenFile(path, os.O_RDWR, 0)
		if err != nil {
			return err
		}
		if err = f.Truncate(from + bytes); err == nil {
			err = finishPart(f, start, bytes/4, marks)
		}
		if cerr := f.Close(); err == nil {
			err = cerr
		}
		if err != nil {
			return err
		}
		start += bytes / 4
	}
}

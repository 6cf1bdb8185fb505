// Package recorder keeps the sound of a session on disk, in files that are whole
// at any moment, and reads WAV files.
package recorder

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
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
	whole  int64 // bytes of the present file up to the last sample that could be written
	buf    []byte
	marks  []Mark
	tap    func(pcm []byte)
}

// New starts the audio log in dir. origin is the wall-clock time of
// sample 0; about goes into the files' description (64 characters at most).
func New(dir string, origin time.Time, about string) (*Recorder, error) {
	r := &Recorder{dir: dir, origin: origin, about: about}
	var err error
	r.f, err = r.begin(0, 0)
	return r, err
}

// Resume goes on with the audio log in dir after a cut, at clock sample
// pos: what lies between the last sound and pos is silence. It returns how many
// samples were there. marks are the labels of the events so far.
func Resume(dir string, origin time.Time, about string, pos int64, marks []Mark) (*Recorder, int64, error) {
	r := &Recorder{dir: dir, origin: origin, about: about, marks: marks}
	l, err := Open(dir)
	if err != nil {
		return nil, 0, fmt.Errorf("cannot go on with the audio log: %w", err)
	}
	had := l.Samples()
	r.part = len(l.Parts) - 1
	r.start = l.Parts[r.part].Start
	if r.f, err = OpenFile(dir, PartName(r.part), os.O_RDWR); err != nil {
		return nil, had, fmt.Errorf("cannot go on with the audio log: %w", err)
	}
	if err := r.goOn(had, pos); err != nil {
		r.f.Close()
		return nil, had, err
	}
	return r, had, nil
}

// goOn makes the open file whole up to clock sample pos, with silence behind
// the had samples that are there. The silence is on the disk at once, so that
// the file is whole at any moment.
func (r *Recorder) goOn(had, pos int64) error {
	// It may have been cut off within its header.
	if _, err := r.f.WriteAt(header(r.origin, r.start, r.about), 0); err != nil {
		return fmt.Errorf("audio log: %w", err)
	}
	if err := r.f.Truncate(headerSize + 4*(had-r.start)); err != nil { // labels that were there already
		return fmt.Errorf("audio log: %w", err)
	}
	r.pos, r.flushd = max(pos, had), max(pos, had)
	for r.pos-r.start > PartLength { // the cut lasted past the end of the part
		if err := r.turn(); err != nil {
			return err
		}
	}
	if err := r.f.Truncate(headerSize + 4*(r.pos-r.start)); err != nil {
		return fmt.Errorf("audio log: %w", err)
	}
	return r.Checkpoint()
}

// turn finishes a part and begins the next where it ends, however late.
func (r *Recorder) turn() error {
	var err error
	if r.f != nil {
		err = r.finish()
		r.f = nil
	}
	f, oerr := r.begin(r.part+1, r.start+PartLength)
	if oerr != nil { // the next write tries again
		return errors.Join(err, oerr)
	}
	r.f, r.part, r.start, r.whole = f, r.part+1, r.start+PartLength, headerSize
	return err
}

// PartName is the name of file n of an audio log.
func PartName(n int) string { return fmt.Sprintf("audio-%02d.wav", n) }

// begin makes the file of a part that begins with clock sample start.
func (r *Recorder) begin(part int, start int64) (*os.File, error) {
	f, err := OpenFile(r.dir, PartName(part), os.O_CREATE|os.O_EXCL|os.O_RDWR)
	if err != nil {
		return nil, fmt.Errorf("cannot start the audio log: %w", err)
	}
	if _, err = f.Write(header(r.origin, start, r.about)); err != nil {
		f.Close()
		os.Remove(f.Name()) // or it would be in the way of the next attempt
		return nil, fmt.Errorf("audio log: %w", err)
	}
	return f, nil
}

// Pos is the clock sample that comes next.
func (r *Recorder) Pos() int64 { return r.pos }

// Tap has f see every sample that was written, as it stands in the file: 4
// bytes a sample, the room's 16 bits first. What an error of Write left out or
// wrote in part is not shown. f must not keep the bytes.
func (r *Recorder) Tap(f func(pcm []byte)) { r.tap = f }

// Write appends samples of the room and of the speaker, of equal length. After
// an error the log goes on in step with the clock: what could not be written is
// silence, and a part that could not be begun is tried again.
func (r *Recorder) Write(room, speaker []float32) error {
	var errs []error
	for len(room) > 0 {
		var err error
		if r.pos-r.start >= PartLength {
			err = r.turn()
		}
		if r.pos-r.start >= PartLength { // no file to write to
			r.pos += int64(len(room))
			return errors.Join(append(errs, err)...)
		}
		// A part is never longer, and much at once is made safe bit by bit.
		n := min(len(room), int(r.start+PartLength-r.pos), checkpointEvery)
		errs = append(errs, err, r.write(room[:n], speaker[:n]))
		room, speaker = room[n:], speaker[n:]
	}
	return errors.Join(errs...)
}

func (r *Recorder) write(room, speaker []float32) error {
	r.buf = r.buf[:0]
	for i := range room {
		r.buf = binary.LittleEndian.AppendUint16(r.buf, uint16(audio.PCM16(room[i])))
		r.buf = binary.LittleEndian.AppendUint16(r.buf, uint16(audio.PCM16(speaker[i])))
	}
	// At its place, not at the end: see Write.
	_, err := r.f.WriteAt(r.buf, headerSize+4*(r.pos-r.start))
	r.pos += int64(len(room))
	if err != nil {
		return fmt.Errorf("audio log: %w", err)
	}
	r.whole = headerSize + 4*(r.pos-r.start)
	if r.tap != nil {
		r.tap(r.buf)
	}
	if r.pos-r.flushd >= checkpointEvery {
		return r.Checkpoint()
	}
	return nil
}

// Silence appends n samples of silence. It takes no room on a disk that knows holes.
func (r *Recorder) Silence(n int64) error {
	zeros := make([]byte, 4*audio.Rate)
	for n > 0 {
		if r.pos-r.start >= PartLength {
			if err := r.turn(); err != nil {
				return err
			}
		}
		k := min(n, r.start+PartLength-r.pos)
		if err := r.f.Truncate(headerSize + 4*(r.pos+k-r.start)); err != nil {
			return fmt.Errorf("audio log: %w", err)
		}
		n, r.pos = n-k, r.pos+k
		r.whole = headerSize + 4*(r.pos-r.start)
		for ; k > 0 && r.tap != nil; k -= min(k, audio.Rate) {
			r.tap(zeros[:4*min(k, audio.Rate)])
		}
	}
	return r.Checkpoint()
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
func (r *Recorder) Close() error {
	if r.f == nil {
		return errors.New("audio log: its last file could not be made")
	}
	return r.finish()
}

func (r *Recorder) finish() error {
	err := finishPart(r.f, r.start, min(r.pos-r.start, PartLength), r.marks)
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

// headerSize is the offset of the first sample: RIFF, fmt, bext, data header.
const headerSize = 12 + 24 + 8 + bextSize + 8

// originator is who the header says made the file.
const originator = "coxswain"

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
	text(originator, 32)
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

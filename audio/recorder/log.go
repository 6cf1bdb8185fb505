package recorder

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"coxswain/audio"
)

// Log is an audio log on the disk, finished or not, read as one stream.
type Log struct {
	dir   string
	Parts []Part // at least one
}

// Part is one file of an audio log.
type Part struct {
	Name     string
	Start    int64 // clock sample that it begins with
	Samples  int64
	Finished bool   // sizes and labels are written, and its header says what it should
	Wrong    string // what its header says and should not; empty: nothing
	size     int64  // bytes of the file
	riff     int64  // bytes that its header speaks of; 0: cut off within the header
}

// Open looks at the audio log in dir: at each file, until one is missing. The
// length of a file that was never finished is what is there.
func Open(dir string) (*Log, error) {
	l := &Log{dir: dir}
	for start := int64(0); ; {
		p, err := openPart(dir, PartName(len(l.Parts)))
		if errors.Is(err, os.ErrNotExist) && len(l.Parts) > 0 {
			return l, nil
		}
		if err != nil {
			return nil, err
		}
		p.Start = start
		l.Parts = append(l.Parts, p)
		start += p.Samples
	}
}

func openPart(dir, name string) (Part, error) {
	f, err := OpenFile(dir, name, os.O_RDONLY)
	if err != nil {
		return Part{}, err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return Part{}, err
	}
	p, err := parsePart(f, st.Size())
	if err != nil {
		return Part{}, fmt.Errorf("%s/%s: %w", dir, name, err)
	}
	p.Name = name
	return p, nil
}

// parsePart tells from a file's header, and from what stands behind its data,
// how much sound it holds.
func parsePart(f io.ReaderAt, size int64) (Part, error) {
	p := Part{size: size, Samples: max(0, (size-headerSize)/4)}
	head := make([]byte, headerSize)
	if n, err := f.ReadAt(head, 0); err != nil && err != io.EOF {
		return Part{}, err
	} else if n < headerSize { // a power cut can leave that
		return p, nil
	}
	if string(head[:4]) != "RIFF" || string(head[36:40]) != "bext" {
		return Part{}, errors.New("not a file of an audio log")
	}
	p.Wrong = wrong(head)
	p.riff = int64(binary.LittleEndian.Uint32(head[4:])) + 8
	said := int64(binary.LittleEndian.Uint32(head[headerSize-4:]))
	if said/4 < p.Samples && labelled(f, headerSize+said) {
		p.Samples, p.Finished = said/4, p.size == p.riff && p.Wrong == ""
	}
	return p, nil
}

// wrong tells what a header says of the sound that is not so in an audio log: a
// player that believes it plays something else than what was heard.
func wrong(head []byte) string {
	is := header(time.Time{}, 0, "")
	if bytes.Equal(head[8:44], is[8:44]) && string(head[headerSize-8:headerSize-4]) == "data" {
		return ""
	}
	word := func(i int) int { return int(binary.LittleEndian.Uint16(head[i:])) }
	return fmt.Sprintf("its header speaks of %d channels of %d bits at %d Hz, format %d: want 2 of 16 at %d, format 1",
		word(22), word(34), binary.LittleEndian.Uint32(head[24:]), word(20), audio.Rate)
}

func labelled(f io.ReaderAt, at int64) bool {
	var id [4]byte
	_, err := f.ReadAt(id[:], at)
	return err == nil && string(id[:]) == "cue "
}

// Samples is the length of the log.
func (l *Log) Samples() int64 {
	last := l.Parts[len(l.Parts)-1]
	return last.Start + last.Samples
}

// Check reports whether the sizes in the files' headers agree with the files:
// what an editor needs to open them whole.
func (l *Log) Check() error {
	for _, p := range l.Parts {
		switch {
		case p.Wrong != "":
			return fmt.Errorf("%s/%s: %s: put it right with `coxswain mend`", l.dir, p.Name, p.Wrong)
		case p.riff == 0:
			return fmt.Errorf("%s/%s: cut off in its header: finish the record with `coxswain mend`", l.dir, p.Name)
		case p.size < p.riff:
			return fmt.Errorf("%s/%s: %d bytes are missing at its end: see `coxswain mend`", l.dir, p.Name, p.riff-p.size)
		case p.size == p.riff && !p.Finished:
			return fmt.Errorf("%s/%s: never finished: finish the record with `coxswain mend`", l.dir, p.Name)
		case p.size > p.riff:
			return fmt.Errorf(
				"%s/%s: its header speaks of %d bytes, it has %d: finish the record with `coxswain mend`",
				l.dir,
				p.Name,
				p.riff,
				p.size,
			)
		}
	}
	return nil
}

// Copy writes the samples from one clock sample up to another to w, 4 bytes
// each: 16 bits of the room, 16 bits of the speaker, the low byte first. What
// the log does not hold is an error that wraps io.ErrUnexpectedEOF.
func (l *Log) Copy(w io.Writer, from, until int64) error {
	for _, p := range l.Parts {
		a, b := max(from, p.Start), min(until, p.Start+p.Samples)
		if a >= b {
			continue
		}
		f, err := OpenFile(l.dir, p.Name, os.O_RDONLY)
		if err != nil {
			return err
		}
		n, err := io.Copy(w, io.NewSectionReader(f, headerSize+4*(a-p.Start), 4*(b-a)))
		f.Close()
		if err == nil && n < 4*(b-a) {
			err = io.ErrUnexpectedEOF
		}
		if err != nil {
			return fmt.Errorf("%s: %w", p.Name, err)
		}
	}
	if from < 0 || until > l.Samples() {
		return fmt.Errorf("%s: %w: the log has %d samples", l.dir, io.ErrUnexpectedEOF, l.Samples())
	}
	return nil
}

// OpenNamed opens a file that somebody named, to be read: no folder, no pipe, which may
// wait for a writer for ever, and no device.
func OpenNamed(path string) (*os.File, error) {
	if st, err := os.Stat(path); err != nil {
		return nil, err
	} else if !st.Mode().IsRegular() {
		return nil, fmt.Errorf("%s: is a folder, a pipe or a device: name a file", path)
	}
	return os.Open(path)
}

// ReadNamed reads such a file, of so many bytes at most.
func ReadNamed(path string, most int) ([]byte, error) {
	f, err := OpenNamed(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, int64(most)+1))
	if err == nil && len(b) > most {
		err = fmt.Errorf("%s: larger than %d bytes, which no such file is", path, most)
	}
	return b, err
}

// OpenFile opens a file of a record's folder: a regular one that lies in dir
// itself, never what a link points to. A new one is for its owner only.
func OpenFile(dir, name string, flag int) (*os.File, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	if st, err := root.Lstat(name); err == nil && !st.Mode().IsRegular() {
		return nil, fmt.Errorf("%s/%s: not a file: a link or a device has no place in a record", dir, name)
	}
	f, err := root.OpenFile(name, flag, 0o600)
	if pe, ok := errors.AsType[*os.PathError](err); ok { // which names neither the folder nor the call well
		err = fmt.Errorf("%s/%s: %w", dir, name, pe.Err)
	}
	return f, err
}

package record

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"unicode"

	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// ErrBroken marks a journal that is not as it was written.
var ErrBroken = errors.New("journal chain is broken")

// Bounds of a journal line and of a whole journal, so that a corrupt file cannot
// exhaust memory. A session of a day writes some ten MiB.
const (
	maxLine    = 1 << 20
	maxJournal = 256 << 20
)

// Tail says what was left out at the end of a journal.
type Tail struct {
	Bytes  int    // bytes of a last line that was never finished
	Reason string // empty if the journal is whole
}

// Read returns the events of the record in dir, in order. A last line without
// its newline is what a power cut leaves of an event that was never
// acknowledged: it is reported in Tail, not as an error. Any other damage is an
// error that wraps ErrBroken and names file and line; the events before it are
// returned. Control characters in an event's words are replaced.
func Read(dir string) ([]timeline.Event, Tail, error) {
	r, err := read(dir)
	if r == nil {
		return nil, Tail{}, err
	}
	if err == nil && len(r.Events) == 0 {
		err = r.holdsNothing()
	}
	return r.Events, r.Tail, err
}

// holdsNothing is the error of a journal without a single event.
func (r *Record) holdsNothing() error {
	why := "it is empty"
	if r.Tail.Bytes > 0 {
		why = fmt.Sprintf("its %d bytes hold no whole line", r.Tail.Bytes)
	}
	return fmt.Errorf("%s: %w: %s; the session was cut off before its first event, or the file was lost",
		filepath.Join(r.Dir, JournalName), ErrNoSession, why)
}

func read(dir string) (*Record, error) {
	f, err := openJournal(dir, os.O_RDONLY)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r, err := parse(f, f.Name())
	r.Dir = dir
	return r, err
}

func openJournal(dir string, flag int) (*os.File, error) {
	f, err := recorder.OpenFile(dir, JournalName, flag)
	if errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf(
			"%s: holds no record (%s): name the folder of one: %w",
			dir,
			JournalName,
			os.ErrNotExist,
		)
	}
	return f, err
}

// place is where a line ends, and what the chain is there.
type place struct {
	sum   string
	end   int64 // offset behind the newline
	event int   // index of the event that it is; -1: it is about the sound
}

// parse reads a journal; name stands for the file in errors. With an error it
// returns what stands before the damage.
func parse(in io.Reader, name string) (*Record, error) {
	r := &Record{}
	br := bufio.NewReaderSize(in, 64<<10)
	for n := 1; ; n++ {
		b, err := readLine(br)
		if err == io.EOF {
			if len(b) > 0 {
				r.Tail = Tail{len(b), fmt.Sprintf("%s:%d: unfinished last line of %d bytes", name, n, len(b))}
			}
			return r, nil
		}
		if err == nil {
			err = r.take(b)
		}
		if err != nil && r.Format > Format {
			return r, fmt.Errorf(
				"%s:%d: %w: %w: written in format %d, newer than this version knows (%d)",
				name,
				n,
				ErrBroken,
				err,
				r.Format,
				Format,
			)
		}
		if err != nil {
			return r, fmt.Errorf("%s:%d: %w: %w", name, n, ErrBroken, err)
		}
	}
}

// take adds one line.
func (r *Record) take(b []byte) error {
	if r.size()+int64(len(b)) >= maxJournal {
		return fmt.Errorf("the journal is larger than %d MiB: no session writes so much", maxJournal>>20)
	}
	l, err := r.decode(b)
	if err != nil {
		return fmt.Errorf("not an event: %w", err)
	}
	if len(r.lines) == 0 {
		if r.Format = max(l.Format, 1); l.Format == 1 || l.Format < 0 {
			return fmt.Errorf("format %d has no such mark", l.Format)
		}
	}
	sum, err := r.follows(l, b)
	if err != nil {
		return err
	}
	p := place{sum, r.size() + int64(len(b)) + 1, -1}
	if l.Sound != nil && l.Kind == "" && l.Seq == 0 {
		if err := r.hear(*l.Sound); err != nil {
			return err
		}
	} else {
		if l.Seq != r.lastSeq()+1 {
			return fmt.Errorf("event number %d, want %d", l.Seq, r.lastSeq()+1)
		}
		p.event = len(r.Events)
		r.Events = append(r.Events, l.Event.Normalise())
	}
	r.lines = append(r.lines, p)
	return nil
}

// follows holds a line to the chain, and returns its sum.
func (r *Record) follows(l line, b []byte) (sum string, err error) {
	if r.Format == 1 {
		if l.Prev != r.Fingerprint() {
			return "", errors.New("this line does not follow the one before it")
		}
		return digest("", b), nil
	}
	plain, ok := withoutSum(b)
	if sum = digest(r.Fingerprint(), plain); !ok || sum != l.Sum {
		return "", errors.New("this line was changed, or does not follow the one before it")
	}
	return sum, nil
}

// hear takes a line about the sound.
func (r *Record) hear(h soundHash) error {
	from := int64(0)
	if n := len(r.sounds); n > 0 {
		from = r.sounds[n-1].Until
	}
	if h.From != from || h.Until <= h.From {
		return fmt.Errorf("sound from %d until %d does not follow %d", h.From, h.Until, from)
	}
	r.sounds = append(r.sounds, h)
	return nil
}

// decode reads a line. Unknown fields are a mistake, but in a newer format.
func (r *Record) decode(b []byte) (line, error) {
	var l line
	err := strict(b, &l)
	if err != nil && strings.Contains(err.Error(), "unknown field") {
		var newer line
		if lerr := json.Unmarshal(b, &newer); lerr == nil && max(r.Format, newer.Format) > Format {
			if name := strings.TrimPrefix(err.Error(), "json: unknown field "); !slices.Contains(r.Unknown, name) {
				r.Unknown = append(r.Unknown, name)
			}
			l, err = newer, nil
		}
	}
	if slices.ContainsFunc(b, notPlain) {
		clean(reflect.ValueOf(&l.Event).Elem())
	}
	return l, err
}

func strict(b []byte, v any) error {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return err
	}
	if d.More() {
		return errors.New("more than one value on the line")
	}
	return nil
}

// readLine returns a line without its newline; at the end io.EOF with the rest.
func readLine(r *bufio.Reader) ([]byte, error) {
	var out []byte
	for {
		part, err := r.ReadSlice('\n')
		out = append(out, part...)
		switch {
		case len(out) > maxLine:
			return nil, fmt.Errorf("line longer than %d bytes", maxLine)
		case err == bufio.ErrBufferFull:
			continue
		case err != nil:
			return out, err
		}
		return out[:len(out)-1], nil
	}
}

// notPlain reports whether a byte may be part of what is not printable: nearly
// no line has one, and a line is looked at by the thousand.
func notPlain(c byte) bool { return c < ' ' || c > '~' || c == '\\' }

// unprintable are characters that could steer a terminal or turn text around.
func unprintable(c rune) bool {
	return unicode.In(c, unicode.Cc, unicode.Bidi_Control)
}

// Printable replaces what could steer a terminal by U+FFFD, a line break by a
// space.
func Printable(s string) string {
	return strings.Map(func(c rune) rune {
		switch {
		case c == '\n':
			return ' '
		case unprintable(c):
			return unicode.ReplacementChar
		}
		return c
	}, s)
}

// clean makes every string within v printable. A hostile journal is made
// harmless here, once, for every page, export and terminal; the file stays.
func clean(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString(Printable(v.String()))
	case reflect.Struct:
		for i := range v.NumField() {
			clean(v.Field(i))
		}
	case reflect.Pointer:
		if !v.IsNil() {
			clean(v.Elem())
		}
	case reflect.Slice:
		for i := range v.Len() {
			clean(v.Index(i))
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			if p := Printable(k.String()); p != k.String() {
				v.SetMapIndex(reflect.ValueOf(p).Convert(k.Type()), v.MapIndex(k))
				v.SetMapIndex(k, reflect.Value{})
			}
		}
	}
}

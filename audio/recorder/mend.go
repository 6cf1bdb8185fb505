package recorder

import (
	"errors"
	"fmt"
	"os"
	"time"
)

// Mend finishes the audio log of a session that was cut off: sizes from what
// is there, labels from marks; origin and about, as for New, are for a file that
// was cut off in its header. It returns the number of clock samples kept.
func Mend(dir string, origin time.Time, about string, marks []Mark) (int64, error) {
	l, err := Open(dir)
	if err != nil {
		return 0, err
	}
	for _, p := range l.Parts {
		start := p.Start
		if p.Wrong != "" {
			p, err = l.describe(p)
		}
		if p.Start = start; err == nil && !p.Finished {
			err = l.finish(p, marks, header(origin, p.Start, about))
		}
		if err != nil {
			return p.Start, fmt.Errorf("%s: %w", p.Name, err)
		}
	}
	return l.Samples(), nil
}

// describe has a part's header say what its sound is, and looks at it again.
func (l *Log) describe(p Part) (Part, error) {
	f, err := OpenFile(l.dir, p.Name, os.O_RDWR)
	if err != nil {
		return p, err
	}
	is := header(time.Time{}, 0, "")
	_, err = f.WriteAt(is[8:44], 8)
	_, derr := f.WriteAt([]byte("data"), headerSize-8)
	if err = errors.Join(err, derr, f.Sync(), f.Close()); err != nil {
		return p, err
	}
	return openPart(l.dir, p.Name)
}

// Relabel writes new labels into the files of a finished audio log.
func Relabel(dir string, marks []Mark) error {
	l, err := Open(dir)
	if err != nil {
		return err
	}
	for _, p := range l.Parts {
		if err := l.finish(p, marks, nil); err != nil {
			return fmt.Errorf("%s: %w", p.Name, err)
		}
	}
	return nil
}

// finish cuts what is no sound from a part's end and writes a new header, if
// one is given, sizes and labels.
func (l *Log) finish(p Part, marks []Mark, head []byte) error {
	f, err := OpenFile(l.dir, p.Name, os.O_RDWR)
	if err != nil {
		return err
	}
	if _, err = f.WriteAt(head, 0); err == nil {
		err = f.Truncate(headerSize + 4*p.Samples)
	}
	if err == nil {
		err = finishPart(f, p.Start, p.Samples, marks)
	}
	return errors.Join(err, f.Close())
}

package record

import (
	"errors"
	"io"
	"os"
	"path/filepath"

	"coxswain/audio/recorder"
)

// CopySound copies the audio log of the record in dir to the folder out, which
// is made, with labels of its own. Files that are there are not written over.
func CopySound(dir, out string, labels []recorder.Mark) error {
	l, err := recorder.Open(dir)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(out, 0o700); err != nil {
		return err
	}
	for _, p := range l.Parts {
		if err := copyFile(dir, out, p.Name); err != nil {
			return err
		}
	}
	return recorder.Relabel(out, labels)
}

func copyFile(from, to, name string) error {
	in, err := recorder.OpenFile(from, name, os.O_RDONLY)
	if err != nil {
		return err
	}
	defer in.Close()
	f, err := os.OpenFile(filepath.Join(to, name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(f, in)
	return errors.Join(err, f.Close())
}

package record

import (
	"errors"
	"fmt"
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

// OpenPart opens a file of the sound of the record in dir: part 0, 1 and so on.
func OpenPart(dir string, part int) (*os.File, error) {
	return recorder.OpenFile(dir, recorder.PartName(part), os.O_RDONLY)
}

// WriteFile writes a file for its owner only, in one step: what was there stays
// whole until the new one is on the disk. A link in its place, which may lead
// anywhere, and whatever else is no file, is refused.
func WriteFile(path string, b []byte) error {
	if st, err := os.Lstat(path); err == nil && !st.Mode().IsRegular() {
		return fmt.Errorf("%s: is a link, a folder or a device: name a file", path)
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
	}
	return err
}

package recorder

import (
	"fmt"
	"os"
	"path/filepath"
)

// Intact reports whether the file that is written to still lies where it was
// made and holds what was written: an error if it was deleted, replaced, cut or
// its disk has gone. It is for the goroutine that writes, between writes.
func (r *Recorder) Intact() error {
	return Intact(r.f, filepath.Join(r.dir, PartName(r.part)), r.whole)
}

// Intact reports whether an open file still lies at a path and holds at least
// size bytes.
func Intact(f *os.File, path string, size int64) error {
	if f == nil {
		return nil
	}
	here, err := os.Lstat(path)
	if err != nil {
		return fmt.Errorf("%s has gone while it was written to", path)
	}
	open, err := f.Stat()
	switch {
	case err != nil:
		return fmt.Errorf("%s: %w", path, err)
	case !os.SameFile(here, open):
		return fmt.Errorf("%s was replaced while it was written to", path)
	case open.Size() < size:
		return fmt.Errorf("%s was cut while it was written to: %d of %d bytes are left", path, open.Size(), size)
	}
	return nil
}

package record

import (
	"archive/tar"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"filippo.io/age"

	"coxswain/audio/recorder"
)

// Sealed is the ending of an encrypted record: a tar file encrypted with age.
const Sealed = ".tar.age"

// Seal encrypts a whole record to keys, into DIR.tar.age, and with remove
// deletes the folder once that is on the disk. The record is checked first: an
// unfinished one is still needed as it is.
func Seal(dir string, keys []age.Recipient, remove bool) (err error) {
	r, err := Open(dir)
	if err != nil {
		return err
	}
	if _, err := r.Verify(); err != nil {
		return err
	}
	path := filepath.Clean(dir) + Sealed
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s: is there already", path)
	}
	out, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return err
	}
	err = SealTo(out, dir, keys)
	if err = errors.Join(err, out.Sync(), out.Close()); err == nil {
		err = os.Rename(out.Name(), path)
	}
	if err != nil {
		os.Remove(out.Name())
		return err
	}
	if remove {
		syncFolder(filepath.Dir(path)) // or a power cut may leave neither
		return Remove(dir)
	}
	return nil
}

// removed begins the name of what Remove has taken from its place.
const removed = ".removed-"

// Remove deletes a record, or a sealed one. It goes from its place in one step: half of
// one, after a power cut, would look like a record that somebody damaged, or, without its
// journal, like nothing, and its sound would stay for ever. See Sweep.
func Remove(path string) error {
	folder := filepath.Dir(filepath.Clean(path))
	gone, err := os.MkdirTemp(folder, removed+"*")
	if err != nil {
		return err
	}
	if err := os.Rename(path, filepath.Join(gone, filepath.Base(path))); err != nil {
		return errors.Join(err, os.Remove(gone))
	}
	return os.RemoveAll(gone)
}

// Sweep deletes what a Remove in a folder of records could not end because it was cut off,
// and what a Seal had begun to write more than a day ago.
func Sweep(folder string) error {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return err
	}
	for _, e := range entries {
		st, ierr := e.Info()
		begun := ierr == nil && e.Type().IsRegular() && time.Since(st.ModTime()) > 24*time.Hour &&
			strings.HasPrefix(e.Name(), ".") && strings.Contains(e.Name(), Sealed+".")
		if begun || e.IsDir() && strings.HasPrefix(e.Name(), removed) {
			err = errors.Join(err, os.RemoveAll(filepath.Join(folder, e.Name())))
		}
	}
	return err
}

// SealTo writes a record as Seal does, as it stands, to w.
func SealTo(w io.Writer, dir string, keys []age.Recipient) error {
	sealed, err := age.Encrypt(w, keys...)
	if err != nil {
		return err
	}
	return errors.Join(packRecord(sealed, dir), sealed.Close())
}

// Recipients reads a file of age public keys, one a line.
func Recipients(path string) ([]age.Recipient, error) { return ageKeys(path, age.ParseRecipients) }

// Identities reads a file of age secret keys.
func Identities(path string) ([]age.Identity, error) { return ageKeys(path, age.ParseIdentities) }

func ageKeys[K any](path string, parse func(io.Reader) ([]K, error)) ([]K, error) {
	f, err := recorder.OpenNamed(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	keys, err := parse(io.LimitReader(f, 1<<20))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return keys, nil
}

// packRecord writes the files of a record as a tar archive.
func packRecord(w io.Writer, dir string) error {
	files, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	t := tar.NewWriter(w)
	for _, e := range files {
		if !e.Type().IsRegular() || !ownName(e.Name()) {
			continue
		}
		if err := packFile(t, dir, e.Name()); err != nil {
			return err
		}
	}
	return t.Close()
}

func packFile(t *tar.Writer, dir, name string) error {
	f, err := recorder.OpenFile(dir, name, os.O_RDONLY)
	if err != nil {
		return err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return err
	}
	if err := t.WriteHeader(&tar.Header{Name: name, Size: st.Size(), Mode: 0o600, ModTime: st.ModTime()}); err != nil {
		return err
	}
	_, err = io.Copy(t, f)
	return err
}

// Unseal opens what Seal made, or age itself, into dir, which is made.
func Unseal(path string, ids []age.Identity, dir string) error {
	f, err := recorder.OpenNamed(path)
	if err != nil {
		return err
	}
	defer f.Close()
	st, err := f.Stat()
	if err != nil {
		return err
	}
	return UnsealFrom(f, st.Size(), ids, dir)
}

// UnsealFrom opens what SealTo wrote, of so many bytes, into dir, which is made: a folder
// with a journal, or none.
func UnsealFrom(in io.Reader, size int64, ids []age.Identity, dir string) error {
	r, err := age.Decrypt(in, ids...)
	if err != nil {
		return err
	}
	if err := os.Mkdir(dir, 0o700); err != nil {
		return err
	}
	err = unpack(r, size, func(name string) (io.WriteCloser, error) {
		return recorder.OpenFile(dir, name, os.O_CREATE|os.O_EXCL|os.O_WRONLY)
	})
	if err == nil {
		if _, err = os.Lstat(filepath.Join(dir, JournalName)); err != nil {
			err = fmt.Errorf("holds no record: no %s is in it", JournalName)
		}
	}
	if err != nil { // half a record would look like one
		return errors.Join(err, os.RemoveAll(dir))
	}
	return nil
}

// mostFiles bounds the files of an archive: sound has one an hour, and a reviewer may
// have put some beside it.
const mostFiles = 1000

// unpack writes the files of a record's tar archive to what create makes; a
// name that would lie elsewhere ends it, and so do files that claim to be larger,
// together, than the archive of size bytes: one with holes may claim anything.
func unpack(r io.Reader, size int64, create func(name string) (io.WriteCloser, error)) error {
	t := tar.NewReader(r)
	for n := 1; ; n++ {
		h, err := t.Next()
		if err == io.EOF {
			return nil
		}
		if err == nil && n > mostFiles {
			err = fmt.Errorf("holds more than %d files, which no record has", mostFiles)
		}
		if err != nil {
			return err
		}
		if !ownName(h.Name) || h.Typeflag != tar.TypeReg {
			return fmt.Errorf("holds %q, which is no file of a record", h.Name)
		}
		for key := range h.PAXRecords { // a file with holes unpacks to far more than came
			if strings.HasPrefix(key, "GNU.sparse.") {
				return fmt.Errorf("holds %q with holes in it, which no record has", h.Name)
			}
		}
		if size -= h.Size; size < 0 {
			return fmt.Errorf("holds %q, which claims to have %d bytes: more than there are", h.Name, h.Size)
		}
		out, err := create(h.Name)
		if err != nil {
			return err
		}
		_, err = io.Copy(out, t)
		if err = errors.Join(err, out.Close()); err != nil {
			return err
		}
	}
}

// ownName reports whether a name can be that of a file in a record's folder.
func ownName(name string) bool {
	return name != "" && !strings.ContainsAny(name, "/\\\x00") && !strings.HasPrefix(name, ".")
}

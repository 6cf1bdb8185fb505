package record

import (
	"archive/tar"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

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
	w, err := age.Encrypt(out, keys...)
	if err == nil {
		err = errors.Join(packRecord(w, dir), w.Close())
	}
	if err = errors.Join(err, out.Sync(), out.Close()); err == nil {
		err = os.Rename(out.Name(), path)
	}
	if err != nil {
		os.Remove(out.Name())
		return err
	}
	if remove {
		return os.RemoveAll(dir)
	}
	return nil
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
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	r, err := age.Decrypt(f, ids...)
	if err != nil {
		return err
	}
	if err := os.Mkdir(dir, 0o700); err != nil {
		return err
	}
	return unpack(r, func(name string) (io.WriteCloser, error) {
		return recorder.OpenFile(dir, name, os.O_CREATE|os.O_EXCL|os.O_WRONLY)
	})
}

// unpack writes the files of a record's tar archive to what create makes; a
// name that would lie elsewhere ends it.
func unpack(r io.Reader, create func(name string) (io.WriteCloser, error)) error {
	t := tar.NewReader(r)
	for {
		h, err := t.Next()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return err
		}
		if !ownName(h.Name) || h.Typeflag != tar.TypeReg {
			return fmt.Errorf("holds %q, which is no file of a record", h.Name)
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

package rig

import (
	"errors"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"syscall"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/timeline/record"
)

// lock keeps a second session off the folder of records. One on a disk that is broken, full or read-only, as
// after a power cut, is no reason to be silent: records go to the fallback, and that is locked if it can be.
func (r Rig) lock(notices *monitor.Notices) (release func(), err error) {
	release, err = record.LockFolder(r.Folder)
	if !broken(err) {
		return release, err
	}
	slog.Error("the folder for records cannot be written to: they go to the fallback",
		"why", err, "fallback", r.Fallback())
	notices.Add("the folder for records cannot be written to (%v): they go to %s", err, r.Fallback())
	at, err := ownFolder(r.Fallback())
	if err == nil {
		if release, err = record.LockFolder(at); err == nil {
			return release, nil
		}
	}
	if errors.Is(err, record.ErrRunning) {
		return nil, err
	}
	notices.Add("nor can the fallback: nothing is kept (%v)", err)
	return func() {}, nil
}

// broken reports whether an error is that of a disk, not of who set up the folder.
func broken(err error) bool {
	return slices.ContainsFunc([]error{syscall.EROFS, syscall.ENOSPC, syscall.EDQUOT, syscall.EIO, syscall.ESTALE},
		func(e error) bool { return errors.Is(err, e) })
}

// folders are those in which records may lie.
func (r Rig) folders() []string {
	out := []string{r.Folder}
	if ours(r.Fallback()) {
		out = append(out, r.Fallback())
	}
	return append(out, others(r.Fallback())...)
}

// others are the folders that were made because that one was not ours.
func others(path string) (out []string) {
	found, _ := filepath.Glob(path + "-*")
	for _, f := range found {
		if path == (config.Records{}).Fallback() && private(f) {
			out = append(out, f)
		}
	}
	return out
}

// ours reports whether a folder may be trusted. That of records in need has a name that
// anybody may guess, in a place where anybody may make one, unless it is set: what lies
// there is ours only if the folder is, and is closed to others.
func ours(path string) bool {
	if path != (config.Records{}).Fallback() {
		return true
	}
	return private(path)
}

func private(path string) bool {
	st, err := os.Lstat(path)
	return err == nil && st.IsDir() && st.Mode().Perm()&0o077 == 0 && owned(st)
}

// ownFolder returns a folder to write records to: path or, if somebody else has made
// that one, another beside it.
func ownFolder(path string) (string, error) {
	if err := os.Mkdir(path, 0o700); err == nil || ours(path) || errors.Is(err, os.ErrNotExist) {
		return path, nil // its parents may have to be made
	}
	if had := others(path); len(had) > 0 {
		return had[0], nil
	}
	other, err := os.MkdirTemp(filepath.Dir(path), filepath.Base(path)+"-")
	if err == nil {
		slog.Error("the folder for records in need is somebody else's, or open to others: there is another now",
			"folder", path, "instead", other)
	}
	return other, err
}

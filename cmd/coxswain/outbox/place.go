package outbox

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"coxswain/timeline/record"
)

// place puts a record where it belongs. One that is there already is replaced only by
// itself with more behind it; where a reviewer has amended it here, both stay.
func (f *fetch) place(r *record.Record, l letter) error {
	ids, list := l.ID+"\n", &f.done.New
	dir := filepath.Join(f.Folder, l.Name+"_"+l.Room)
	for n := 2; ; n++ {
		here, err := record.Open(dir)
		if errors.Is(err, os.ErrNotExist) {
			break
		}
		if err != nil {
			return fmt.Errorf("what is here already: %w", err)
		}
		before, _ := readSmall(dir, fromName)
		same := here.Fingerprint() == r.Fingerprint()
		if _, later := here.Since(r.Fingerprint()); later && (!same || record.Signed(dir) && !record.Signed(r.Dir)) {
			f.done.Known++ // here is more than what came
			return f.from(dir, string(before)+ids)
		}
		if _, grown := r.Since(here.Fingerprint()); grown {
			ids, list = string(before)+ids, &f.done.Changed
			break
		}
		dir = fmt.Sprintf("%s_%d", filepath.Join(f.Folder, l.Name+"_"+l.Room), n)
	}
	if err := f.from(r.Dir, ids); err != nil {
		return err
	}
	if err := swap(r.Dir, dir); err != nil {
		return err
	}
	f.known[l.ID] = dir
	*list = append(*list, filepath.Base(dir))
	return nil
}

// from notes the ids that a record came under.
func (f *fetch) from(dir, ids string) error {
	return record.WriteFile(filepath.Join(dir, fromName), []byte(ids))
}

// beforeName ends the name of a folder in whose place another is being put.
const beforeName = ".before"

// swap puts the folder from in the place of dir, if that is there. What a reviewer has
// put there beside the record stays there.
func swap(from, dir string) error {
	err := os.Rename(dir, dir+beforeName)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if err := os.Rename(from, dir); err != nil {
		return errors.Join(err, settle(dir))
	}
	return settle(dir)
}

// settle ends a swap, wherever it was cut off.
func settle(dir string) error {
	before := dir + beforeName
	files, err := os.ReadDir(before)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if _, err := os.Lstat(dir); errors.Is(err, os.ErrNotExist) {
		return os.Rename(before, dir)
	}
	for _, f := range files {
		if _, err := os.Lstat(filepath.Join(dir, f.Name())); !errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err := os.Rename(filepath.Join(before, f.Name()), filepath.Join(dir, f.Name())); err != nil {
			return err
		}
	}
	return os.RemoveAll(before)
}

// settleAll ends the swaps that a run before left in a folder.
func settleAll(folder string) error {
	left, err := filepath.Glob(filepath.Join(folder, "*"+beforeName))
	for _, before := range left {
		err = errors.Join(err, settle(strings.TrimSuffix(before, beforeName)))
	}
	return err
}

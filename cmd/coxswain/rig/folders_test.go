package rig

import (
	"os"
	"path/filepath"
	"testing"

	"coxswain/cmd/coxswain/config"
)

// Records in need are not written to a folder that somebody else has prepared, nor is
// what lies there taken for ours.
func TestFolderOfSomebodyElse(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	path := (config.Records{}).Fallback()
	for _, c := range []struct {
		name string
		make func() error
		ours bool
	}{
		{"not there", func() error { return nil }, true},
		{"our own", func() error { return os.Mkdir(path, 0o700) }, true},
		{"open to others", func() error { os.Mkdir(path, 0o700); return os.Chmod(path, 0o777) }, false},
		{"a link", func() error { return os.Symlink(t.TempDir(), path) }, false},
		{"a file", func() error { return os.WriteFile(path, nil, 0o600) }, false},
		{"somebody else's", func() error {
			if os.Getuid() != 0 {
				return os.Symlink("/", path) // only root gives folders away
			}
			os.Mkdir(path, 0o700)
			return os.Chown(path, 65534, 65534)
		}, false},
	} {
		if err := c.make(); err != nil {
			t.Fatal(err)
		}
		got, err := ownFolder(path)
		if err != nil || (got == path) != c.ours || filepath.Dir(got) != filepath.Dir(path) || ours(path) != c.ours {
			t.Errorf("%s: records go to %s, %v; taken for ours: %v", c.name, got, err, ours(path))
		}
		r := Rig{Config: &config.Config{}}
		if found := r.folders(); len(found) != 2 || found[1] != got {
			t.Errorf("%s: records are looked for in %q, not in %s", c.name, found, got)
		}
		if again, err := ownFolder(path); err != nil || again != got {
			t.Errorf("%s: the next ones go to %s, %v", c.name, again, err)
		}
		if got != path {
			os.RemoveAll(got)
		}
		os.RemoveAll(path)
	}
}

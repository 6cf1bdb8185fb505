package ready

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A secret key that others on the machine can read is told, with what to do.
func TestKeptPrivate(t *testing.T) {
	path := filepath.Join(t.TempDir(), "room.key")
	if err := os.WriteFile(path, []byte("secret"), 0o600); err != nil {
		t.Fatal(err)
	}
	for mode, want := range map[os.FileMode]bool{0o600: true, 0o400: true, 0o640: false, 0o604: false} {
		if err := os.Chmod(path, mode); err != nil {
			t.Fatal(err)
		}
		err := keptPrivate(path)
		if (err == nil) != want || err != nil && !strings.Contains(err.Error(), "chmod 600 "+path) {
			t.Errorf("%v: %v", mode, err)
		}
	}
	if err := keptPrivate(""); err != nil {
		t.Errorf("no key: %v", err)
	}
}

package record

import (
	"archive/tar"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"coxswain/audio/recorder"
)

func tarOf(name string, content []byte) []byte {
	var b bytes.Buffer
	w := tar.NewWriter(&b)
	w.WriteHeader(&tar.Header{Name: name, Size: int64(len(content)), Mode: 0o600})
	w.Write(content)
	w.Close()
	return b.Bytes()
}

// A sealed record comes back as it was; nothing half made stays.
func TestSeal(t *testing.T) {
	dir := finished(t, 3)
	id, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	want, err := os.ReadFile(filepath.Join(dir, recorder.PartName(0)))
	if err != nil {
		t.Fatal(err)
	}
	keys := []age.Recipient{id.Recipient()}
	if err := Seal(dir, keys, true); err != nil {
		t.Fatal(err)
	}
	if left, _ := os.ReadDir(filepath.Dir(dir)); len(left) != 1 || left[0].Name() != filepath.Base(dir)+Sealed {
		t.Errorf("left: %v", left)
	}
	back := filepath.Join(t.TempDir(), "back")
	if err := Unseal(dir+Sealed, []age.Identity{id}, back); err != nil {
		t.Fatal(err)
	}
	if _, err := verified(back); err != nil {
		t.Error(err)
	}
	if got, _ := os.ReadFile(filepath.Join(back, recorder.PartName(0))); !bytes.Equal(got, want) {
		t.Error("the audio came back changed")
	}
	other, _ := age.GenerateX25519Identity()
	if err := Unseal(dir+Sealed, []age.Identity{other}, filepath.Join(t.TempDir(), "x")); err == nil {
		t.Error("another key opened it")
	}
	open := filepath.Join(t.TempDir(), "open")
	w := begin(t, open)
	play(t, w, 1)
	if err := Seal(open, keys, true); err == nil {
		t.Error("a running record was sealed")
	}
	end(t, w)
	os.WriteFile(open+Sealed, nil, 0o600)
	if err := Seal(open, keys, true); err == nil {
		t.Error("a sealed record was written over")
	}
}

// What is no record, or holds what would lie elsewhere, leaves nothing behind.
func TestUnsealRefuses(t *testing.T) {
	id, _ := age.GenerateX25519Identity()
	many := make([]string, 2*mostFiles)
	for n := range many {
		many[n] = fmt.Sprintf("f%d", n)
	}
	for name, files := range map[string][]string{
		"a name outside":      {"../x"},
		"an absolute one":     {"/tmp/x"},
		"a folder's":          {"a/b"},
		"the folder above":    {".."},
		"a hidden one":        {".hidden"},
		"behind a good one":   {JournalName, "../x"},
		"no journal":          {"audio-00.wav"},
		"nothing":             {},
		"the same name twice": {JournalName, JournalName},
		"thousands of files":  append(many, JournalName),
	} {
		outer := t.TempDir()
		var b bytes.Buffer
		w, err := age.Encrypt(&b, id.Recipient())
		if err != nil {
			t.Fatal(err)
		}
		archive := tar.NewWriter(w)
		for _, file := range files {
			archive.WriteHeader(&tar.Header{Name: file, Size: 1, Mode: 0o600})
			archive.Write([]byte("x"))
		}
		archive.Close()
		w.Close()
		path := filepath.Join(t.TempDir(), "x.tar.age")
		os.WriteFile(path, b.Bytes(), 0o600)
		if err := Unseal(path, []age.Identity{id}, filepath.Join(outer, "in")); err == nil {
			t.Errorf("%s was unpacked", name)
		}
		if left, _ := os.ReadDir(outer); len(left) != 0 {
			t.Errorf("%s: left: %v", name, left)
		}
	}
}

// What a cut left of a record that was being deleted is no record any more, and goes with
// the next look; so does an archive that was begun long ago. What is being written stays.
func TestSweep(t *testing.T) {
	dir := finished(t, 1)
	folder := filepath.Dir(dir)
	half := filepath.Join(folder, removed+"1", "2026-03-01T140000")
	begun, fresh := filepath.Join(folder, ".x"+Sealed+".1"), filepath.Join(folder, ".x"+Sealed+".2")
	err := os.MkdirAll(half, 0o700)
	for _, f := range []string{filepath.Join(half, JournalName), begun, fresh} {
		err = errors.Join(err, os.WriteFile(f, []byte("half"), 0o600))
	}
	old := time.Now().Add(-48 * time.Hour)
	if err = errors.Join(err, os.Chtimes(begun, old, old)); err != nil {
		t.Fatal(err)
	}
	if dirs, err := Dirs(folder); err != nil || len(dirs) != 1 {
		t.Errorf("%v: records %v", err, dirs)
	}
	if err := Sweep(folder); err != nil {
		t.Fatal(err)
	}
	var left []string
	entries, _ := os.ReadDir(folder)
	for _, e := range entries {
		left = append(left, e.Name())
	}
	if want := []string{filepath.Base(fresh), filepath.Base(dir)}; !slices.Equal(left, want) {
		t.Errorf("%v is left, want %v", left, want)
	}
	if err := Remove(dir); err != nil {
		t.Fatal(err)
	}
	if entries, _ = os.ReadDir(folder); len(entries) != 1 {
		t.Errorf("%v is left", entries)
	}
	if err := Remove(dir); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("what is not there is removed: %v", err)
	}
}

// A file that claims to be larger than the archive that it came in is refused before
// anything of it is written.
func TestUnsealRefusesABomb(t *testing.T) {
	id, _ := age.GenerateX25519Identity()
	var b bytes.Buffer
	w, err := age.Encrypt(&b, id.Recipient())
	if err != nil {
		t.Fatal(err)
	}
	if err := tar.NewWriter(w).WriteHeader(&tar.Header{Name: "audio-00.wav", Size: 1 << 40, Mode: 0o600}); err != nil {
		t.Fatal(err)
	}
	w.Close()
	dir := filepath.Join(t.TempDir(), "in")
	err = UnsealFrom(&b, int64(b.Len()), []age.Identity{id}, dir)
	if left, _ := os.ReadDir(dir); err == nil || !strings.Contains(err.Error(), "more than there are") || len(left) > 0 {
		t.Errorf("%v; written: %v", err, left)
	}
}

// Whatever a tar archive holds, it makes no file outside the folder, and
// unpacks to what it claims at most. Run it with -fuzzminimizetime 10x: else the
// engine spends up to a minute on making each new archive shorter, zero by zero,
// and tries nothing meanwhile.
func FuzzUnpack(f *testing.F) {
	for _, name := range []string{"events.jsonl", "../x", "/etc/x", "a/b", ".."} {
		f.Add(tarOf(name, []byte("x"))[:1024])
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var made nothing
		defer func() {
			if made > nothing(len(data)) {
				t.Errorf("%d bytes come out of %d", made, len(data))
			}
		}()
		unpack(bytes.NewReader(data), int64(len(data)), func(name string) (io.WriteCloser, error) {
			if name == "" || name == "." || name == ".." || strings.ContainsAny(name, "/") ||
				strings.HasPrefix(name, ".") {
				t.Errorf("a file %q is made", name)
			}
			return &made, nil
		})
	})
}

// nothing is a file that keeps nothing but counts.
type nothing int

func (n *nothing) Write(b []byte) (int, error) { *n += nothing(len(b)); return len(b), nil }

func (*nothing) Close() error { return nil }

// An archive of a few bytes that unpacks to gigabytes of nothing is refused before
// anything is written.
func TestArchiveWithHoles(t *testing.T) {
	dir := t.TempDir()
	name := recorder.PartName(0)
	f, err := os.Create(filepath.Join(dir, name))
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(f.Truncate(1<<30), f.Close()); err != nil {
		t.Fatal(err)
	}
	b, err := exec.Command("tar", "-C", dir, "-cS", "--format=posix", "--sparse-version=1.0", name).Output()
	if err != nil {
		t.Skip("GNU tar is needed to make such an archive: ", err)
	}
	err = unpack(bytes.NewReader(b), 1e12, func(name string) (io.WriteCloser, error) {
		t.Errorf("%s is written", name)
		return nil, errors.New("no")
	})
	if err == nil || !strings.Contains(err.Error(), "with holes") {
		t.Errorf("%d bytes that claim to be a gigabyte: %v", len(b), err)
	}
}

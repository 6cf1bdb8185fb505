package rig

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/timeline"
)

// A disk that is read-only from the start, as after a power cut, keeps nobody from listening: records go to
// the fallback, where a case that was cut off goes on, and a second session is kept off that. A folder that
// is only set up wrong is an error.
func TestReadOnlyFromTheStart(t *testing.T) {
	disk := t.TempDir()
	if err := syscall.Mount("tmpfs", disk, "tmpfs", 0, ""); err != nil {
		t.Skipf("cannot mount: %v", err)
	}
	defer syscall.Unmount(disk, 0)
	c := &config.Config{}
	c.Folder, c.Elsewhere, c.ResumeMinutes = filepath.Join(disk, "records"), filepath.Join(t.TempDir(), "else"), 10
	r, now := Rig{Config: c}, time.Now()
	first := cut(t, c.Folder, "running", now.Add(-25*time.Second), 20, timeline.CodeStart, "access.iv")
	if err := syscall.Mount("tmpfs", disk, "tmpfs", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	var told monitor.Notices
	release, err := r.lock(&told)
	if err != nil {
		t.Fatalf("%v: nobody listens", err)
	}
	if said := told.All(); len(said) != 1 || !strings.Contains(said[0], c.Elsewhere) {
		t.Errorf("it says %q", said)
	}
	if _, err := r.lock(&told); err == nil || !strings.Contains(err.Error(), "another coxswain") {
		t.Errorf("a second one: %v", err)
	}
	release()
	if k := r.resume(now, &told); k.Anew == nil || len(k.Events) != 3 || k.Had < 20*timeline.Rate {
		t.Errorf("of %s %d events go on, behind %d samples: %v", first, len(k.Events), k.Had, k.Anew)
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	nowhere := *c
	nowhere.Elsewhere = filepath.Join(file, "else")
	if release, err := (Rig{Config: &nowhere}).lock(&told); err != nil {
		t.Errorf("where nothing can be kept nobody listens: %v", err)
	} else {
		release()
	}
	c.Folder = filepath.Join(file, "records")
	if _, err := r.lock(&told); err == nil {
		t.Error("records go below a file")
	}
}

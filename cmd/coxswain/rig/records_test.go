package rig

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/session"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

var wall = time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)

// had are the events of a record that is written anew.
var had = []timeline.Event{
	{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{Rate: timeline.Rate, Wall: wall.Format(time.RFC3339Nano)}},
}

// Further cases of a recording never touch what lies beside its record: the next
// free name is taken, and listed.
func TestNextFreeName(t *testing.T) {
	first := filepath.Join(t.TempDir(), "r")
	for _, taken := range []string{"-2", "-4"} {
		if err := os.Mkdir(first+taken, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	var dirs []string
	begin := inOrder(first, &dirs)
	for range 3 {
		k, err := begin(session.Beginning{Wall: wall})
		if err != nil {
			t.Fatal(err)
		}
		k.Sound.Close()
		k.Journal.Close()
	}
	if len(dirs) != 3 || dirs[0] != first || dirs[1] != first+"-3" || dirs[2] != first+"-5" {
		t.Errorf("the records are in %q", dirs)
	}
}

// A record whose folder cannot be written to goes to the fallback, with what it had;
// an attempt that fails leaves nothing behind. A start within the minutes of resume
// goes on with the newer of the two.
func TestFallback(t *testing.T) {
	top := t.TempDir()
	c := &config.Config{}
	c.Folder, c.Elsewhere, c.ResumeMinutes = filepath.Join(top, "records"), filepath.Join(top, "fallback"), 10
	last := ""
	r := Rig{Config: c}
	var told monitor.Notices
	begin := r.recordsIn(&last, &told)
	first, err := begin(session.Beginning{Wall: wall})
	if err != nil || first.Moved || filepath.Dir(last) != c.Folder {
		t.Fatalf("%v: the first record is in %s", err, last)
	}
	if err := first.Journal.AppendAll(had); err != nil {
		t.Fatal(err)
	}
	first.Sound.Close()
	first.Journal.Close()
	second, err := begin(session.Beginning{Wall: wall, Had: had, Pos: 5 * audio.Rate, Elsewhere: true})
	if err != nil || !second.Moved || filepath.Dir(last) != c.Elsewhere {
		t.Fatalf("%v: the second record is in %s", err, last)
	}
	if said := told.All(); len(said) != 1 || !strings.Contains(said[0], last) {
		t.Errorf("of the other folder it says %q", said)
	}
	second.Sound.Write(make([]float32, 100), make([]float32, 100))
	second.Sound.Close()
	second.Journal.Close() // cut off
	wrong := []timeline.Event{{Seq: 7}}
	if _, err := begin(session.Beginning{Wall: wall.Add(time.Hour), Had: wrong, Elsewhere: true}); err == nil {
		t.Error("an event out of turn is taken")
	}
	if found, _ := filepath.Glob(filepath.Join(top, "*", "2000-01-01T13*")); len(found) > 0 {
		t.Errorf("a failed attempt leaves %q", found)
	}
	on := r.resume(wall.Add(10*time.Second), &monitor.Notices{})
	if on.Name != filepath.Base(last) || !on.Moved || on.Had != 5*audio.Rate+100 {
		t.Fatalf("it goes on with %q, moved: %v, %d samples", on.Name, on.Moved, on.Had)
	}
	if err := errors.Join(on.Sound.Close(), on.Journal.Close()); err != nil {
		t.Error(err)
	}
	m, err := record.Mend(last)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := m.Verify(); err != nil {
		t.Error(err)
	}
}

// cut leaves a record as a power cut does.
func cut(t *testing.T, folder, name string, at time.Time, seconds int, kinds ...timeline.Kind) string {
	t.Helper()
	dir := filepath.Join(folder, name)
	w, err := record.Begin(dir, at)
	if err != nil {
		t.Fatal(err)
	}
	events := append([]timeline.Event(nil), had...)
	events[0].Session = &timeline.Session{Rate: timeline.Rate, Wall: at.Format(time.RFC3339Nano)}
	for i, k := range kinds {
		events = append(events, timeline.Event{At: timeline.Seconds(float64(i + 1)), Kind: k})
	}
	for _, e := range events {
		e.Seq = 0
		if _, err := w.Journal.Append(e); err != nil {
			t.Fatal(err)
		}
	}
	var block [audio.Block]float32
	for range seconds * 100 {
		w.Sound.Write(block[:], block[:])
	}
	w.Sound.Close() // what the disk has of it; the journal has no end
	w.Journal.Close()
	return dir
}

// The power is cut while a case that had just ended waits for its end to be taken back, and
// another patient's runs: that one goes on, the other is finished, and both hold what was
// called in them.
func TestResumeBesideACaseThatEnded(t *testing.T) {
	c := &config.Config{}
	c.Folder, c.Elsewhere, c.ResumeMinutes = t.TempDir(), t.TempDir(), 10
	now := time.Now()
	former := cut(t, c.Folder, "ended", now.Add(-60*time.Second), 30, timeline.CodeStart, "drug.epinephrine", timeline.CodeEnd)
	running := cut(t, c.Folder, "running", now.Add(-25*time.Second), 20, timeline.CodeStart, "access.iv")
	var told monitor.Notices
	k := Rig{Config: c}.resume(now, &told)
	if k.Name != filepath.Base(running) || len(k.Events) != 3 {
		t.Fatalf("%q goes on, with %d events", k.Name, len(k.Events))
	}
	defer k.Journal.Close()
	defer k.Sound.Close()
	for begun := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		r, err := record.Open(former)
		if err == nil && r.Closed() {
			if _, err = r.Verify(); err != nil || len(r.Events) != 5 || r.Events[2].Kind != "drug.epinephrine" {
				t.Errorf("of the case before %d events are left: %v", len(r.Events), err)
			}
			if said := told.All(); len(said) == 0 {
				continue // it is told a moment later
			} else if !strings.HasPrefix(said[0], "a record that was cut off is finished: "+former) {
				t.Errorf("it says %q", said)
			}
			return
		}
		if time.Since(begun) > 2*time.Minute {
			t.Fatalf("the record of the case before is never finished: %v", err)
		}
	}
}

// A case that was cut off, and whose journal has a wrong line or is gone, cannot go on: whoever runs coxswain
// is told which, where and why. One that ended, or was long ago, is nobody's concern.
func TestSpoiltCaseIsToldOf(t *testing.T) {
	c := &config.Config{}
	c.Folder, c.Elsewhere, c.ResumeMinutes = t.TempDir(), t.TempDir(), 10
	now := time.Now()
	for _, name := range []string{"spoilt", "ended", "headless", "old"} {
		kinds := []timeline.Kind{timeline.CodeStart, "access.iv"}
		if name == "ended" {
			kinds = append(kinds, timeline.SessionClose)
		}
		dir := cut(t, c.Folder, name, now.Add(-25*time.Second), 5, kinds...)
		journal := filepath.Join(dir, record.JournalName)
		switch name {
		case "old":
			if err := os.Chtimes(filepath.Join(dir, recorder.PartName(0)), now, now.Add(-time.Hour)); err != nil {
				t.Fatal(err)
			}
			fallthrough
		case "headless":
			os.Remove(journal)
			continue
		}
		f, err := os.OpenFile(journal, os.O_APPEND|os.O_WRONLY, 0)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintln(f, `{"seq":999,"at":1,"kind":"shock.given"}`)
		f.Close()
	}
	var told monitor.Notices
	if k := (Rig{Config: c}).resume(now, &told); k.Name != "" || !k.Lost {
		t.Errorf("%q goes on; the team is told of what is lost: %v", k.Name, k.Lost)
	}
	said := told.All()
	for i, want := range []string{"spoilt/events.jsonl:5: ", "/headless"} {
		if len(said) != 2 || !strings.Contains(said[i], "cannot go on") || !strings.Contains(said[i], want) {
			t.Errorf("it says %q, want of %s", said, want)
		}
	}
}

// A case that was cut off, whose journal is whole and whose sound is gone or cannot be read, goes on: in a
// record of its own with all that was called, and whoever runs coxswain is told where the first one lies.
func TestCaseWithoutItsSoundGoesOn(t *testing.T) {
	for _, harm := range []func(dir string) error{
		func(dir string) error { return os.Remove(filepath.Join(dir, recorder.PartName(0))) },
		func(dir string) error { return os.Mkdir(filepath.Join(dir, recorder.PartName(1)), 0o700) },
		func(dir string) error {
			return errors.Join(os.Remove(filepath.Join(dir, recorder.PartName(0))),
				os.Symlink("/dev/zero", filepath.Join(dir, recorder.PartName(0))))
		},
	} {
		c := &config.Config{}
		c.Folder, c.Elsewhere, c.ResumeMinutes = t.TempDir(), t.TempDir(), 10
		r, now := Rig{Config: c}, time.Now()
		dir := cut(t, c.Folder, "mute", now.Add(-25*time.Second), 5, timeline.CodeStart, "access.iv")
		if err := harm(dir); err != nil {
			t.Fatal(err)
		}
		var told monitor.Notices
		k := r.resume(now, &told)
		said := told.All()
		if k.Lost || k.Anew == nil || len(k.Events) != 3 || k.Pos < 25*audio.Rate || k.Pos > 27*audio.Rate || k.Pos%audio.Block != 0 {
			t.Errorf("%d events go on at %d: %v, lost %v", len(k.Events), k.Pos, k.Anew, k.Lost)
		}
		if len(said) != 1 || !strings.Contains(said[0], "goes on in a new record") || !strings.Contains(said[0], dir) {
			t.Errorf("it says %q", said)
		}
		last := ""
		on, err := r.recordsIn(&last, &told)(session.Beginning{Wall: now, Had: k.Events, Pos: k.Pos})
		if err != nil || last == dir {
			t.Fatalf("%v: it goes on in %s", err, last)
		}
		on.Sound.Close()
		on.Journal.Close()
		if again := r.resume(now, &monitor.Notices{}); again.Anew != nil || again.Name != filepath.Base(last) || len(again.Events) != 3 {
			t.Errorf("after another cut %q goes on with %d events: %v", again.Name, len(again.Events), again.Anew)
		} else {
			again.Sound.Close()
			again.Journal.Close()
		}
	}
}

// A case that ends the program as soon as it goes on is left in the end: the team has a beat, without its
// times. One that was cut off now and then goes on each time.
func TestCaseThatEndsTheProgram(t *testing.T) {
	for every, lost := range map[time.Duration][2]int{5 * time.Second: {6, 12}, 16 * time.Second: {}} {
		c := &config.Config{}
		c.Folder, c.Elsewhere, c.ResumeMinutes = t.TempDir(), t.TempDir(), 10
		now := time.Now()
		cut(t, c.Folder, "running", now.Add(-25*time.Second), 20, timeline.CodeStart, "access.iv")
		for k := 1; k <= 12; k++ {
			var told monitor.Notices
			on := Rig{Config: c}.resume(now, &told)
			if gone := k >= lost[0] && k <= lost[1]; on.Lost != gone || gone == (on.Journal != nil) {
				t.Errorf("every %v, start %d: lost %v: %q", every, k, on.Lost, told.All())
			}
			if on.Journal != nil { // the process died
				on.Sound.Close()
				on.Journal.Close()
			}
			now = now.Add(every)
		}
		Rig{Config: c}.forgive()
		if on := (Rig{Config: c}).resume(now, &monitor.Notices{}); on.Lost {
			t.Errorf("every %v: not gone on with though it was not to blame", every)
		} else {
			on.Sound.Close()
			on.Journal.Close()
		}
	}
}

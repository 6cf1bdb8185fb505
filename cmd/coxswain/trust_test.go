package main

import (
	"archive/tar"
	"bytes"
	"crypto/ed25519"
	"crypto/x509"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"filippo.io/age"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// smallRecord replays so many seconds of quiet, with a callout every two.
func smallRecord(t *testing.T, seconds int) string {
	t.Helper()
	dir := t.TempDir()
	wav := filepath.Join(dir, "in.wav")
	writeWAV(t, wav, 48000, 1, seconds*48000)
	out := filepath.Join(dir, "2026-03-01T140000")
	if b, err := coxswainCommand(t, "replay", wav, "--out", out, "--quiet", "--recogniser", earCommand(t)).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, b)
	}
	return out
}

// ok runs a command that must succeed and returns what it printed.
func ok(t *testing.T, args ...string) string {
	t.Helper()
	var out, stderr bytes.Buffer
	if code := Main(args, strings.NewReader(""), &out, &stderr); code != 0 {
		t.Fatalf("coxswain %s: exit code %d: %s", strings.Join(args, " "), code, stderr.String())
	}
	return out.String()
}

// A signed record shows every change, wherever it is; amendments behind the
// signed part of the journal are none.
func TestSignature(t *testing.T) {
	dir := smallRecord(t, 8)
	key := filepath.Join(t.TempDir(), "k")
	ok(t, "key", key)
	ok(t, "sign", dir, "--sign-key", key)
	if out := ok(t, "verify", dir, "--key", key+".pub"); !strings.Contains(out, "signature holds") {
		t.Error(out)
	}
	pub, err := readKey[ed25519.PublicKey](key+".pub", x509.ParsePKIXPublicKey)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(3, 3))
	for _, name := range []string{record.JournalName, recorder.PartName(0), signatureName} {
		path := filepath.Join(dir, name)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for range 20 {
			b := bytes.Clone(whole)
			i := r.IntN(len(b))
			if name == signatureName { // its layout and the key's name may change
				i = bytes.Index(b, []byte(`"signed": "`)) + 11 + r.IntN(100)
			}
			b[i] ^= 1 << r.IntN(7)
			os.WriteFile(path, b, 0o600)
			if err := checkSignature(dir, pub); err == nil {
				t.Errorf("byte %d of %s was changed and nothing shows", i, name)
			}
		}
		os.WriteFile(path, whole, 0o600)
	}
	j, _, err := record.Reopen(dir)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := j.Append(timeline.Event{Kind: timeline.Note, Text: "later"}); err != nil {
		t.Fatal(err)
	}
	j.Close()
	if err := checkSignature(dir, pub); err != nil {
		t.Errorf("an appended line broke the signature: %v", err)
	}
}

// A sealed record comes back as it was, with our own command and with the age
// program (an outside implementation's front end, Debian package age).
func TestSeal(t *testing.T) {
	dir := smallRecord(t, 5)
	tmp := t.TempDir()
	id, err := age.GenerateX25519Identity()
	if err != nil {
		t.Fatal(err)
	}
	pub, secret := filepath.Join(tmp, "site.pub"), filepath.Join(tmp, "site.key")
	os.WriteFile(pub, []byte(id.Recipient().String()+"\n"), 0o600)
	os.WriteFile(secret, []byte(id.String()+"\n"), 0o600)
	want, err := os.ReadFile(filepath.Join(dir, recorder.PartName(0)))
	if err != nil {
		t.Fatal(err)
	}
	ok(t, "seal", dir, "--to", pub, "--remove")
	if _, err := os.Stat(dir); !os.IsNotExist(err) {
		t.Error("--remove left the folder")
	}
	b, _ := os.ReadFile(dir + sealed)
	if bytes.Contains(b, []byte("session.open")) || !bytes.HasPrefix(b, []byte("age-encryption.org/v1\n")) {
		t.Error("the sealed file is not an age file")
	}
	back := filepath.Join(tmp, "back")
	ok(t, "unseal", dir+sealed, "--identity", secret, "--out", back)
	ok(t, "verify", back)
	if got, _ := os.ReadFile(filepath.Join(back, recorder.PartName(0))); !bytes.Equal(got, want) {
		t.Error("the audio came back changed")
	}
	if _, err := exec.LookPath("age"); err != nil {
		t.Skip("no age program: `make test` installs it")
	}
	plain, err := exec.Command("age", "-d", "-i", secret, dir+sealed).Output()
	if err != nil || !bytes.Contains(plain, want) {
		t.Errorf("the age program cannot open it: %v", err)
	}
}

// Retention deletes by the record's own time, only with --delete, and nothing
// that is not a record.
func TestRetain(t *testing.T) {
	dir := t.TempDir()
	recent := time.Now().AddDate(0, 0, -5).Format("2006-01-02T150405")
	for _, n := range []string{"2020-01-02T030405", recent, "notes"} {
		os.Mkdir(filepath.Join(dir, n), 0o700)
	}
	os.WriteFile(filepath.Join(dir, "2020-02-02T030405.tar.age"), nil, 0o600)
	if out := ok(t, "retain", "--records", dir, "--older-than", "90d"); !strings.Contains(out, "2 records; nothing was deleted") {
		t.Error(out)
	}
	ok(t, "retain", "--records", dir, "--older-than", "90d", "--delete")
	left, _ := os.ReadDir(dir)
	if len(left) != 2 || left[0].Name() != recent || left[1].Name() != "notes" {
		t.Errorf("left: %v", left)
	}
}

// Records are for their owner only.
func TestRecordsArePrivate(t *testing.T) {
	dir := smallRecord(t, 3)
	st, err := os.Stat(dir)
	if err != nil || st.Mode().Perm() != 0o700 {
		t.Errorf("folder: %v %v", st.Mode(), err)
	}
	files, _ := os.ReadDir(dir)
	for _, f := range files {
		if i, err := f.Info(); err != nil || i.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v", f.Name(), i.Mode(), err)
		}
	}
}

// A power cut may tear both files anywhere, headers included. The next session
// goes on with what is whole, and the record can be finished.
func TestPowerCut(t *testing.T) {
	whole := smallRecord(t, 20)
	events, _, err := record.Read(whole)
	if err != nil {
		t.Fatal(err)
	}
	wall, err := time.Parse(time.RFC3339Nano, events[0].Session.Wall)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(11, 4))
	for k := range 60 {
		records := t.TempDir()
		dir := filepath.Join(records, "2026-03-01T140000")
		os.Mkdir(dir, 0o700)
		for _, name := range []string{record.JournalName, recorder.PartName(0)} {
			b, err := os.ReadFile(filepath.Join(whole, name))
			if err != nil {
				t.Fatal(err)
			}
			cut := r.IntN(len(b))
			if name == record.JournalName { // the close is not there yet; the first line may be torn as well
				cut = min(cut, bytes.LastIndexByte(b[:len(b)-1], '\n'))
			} else if k%5 == 0 {
				cut = r.IntN(700) // within the header
			}
			os.WriteFile(filepath.Join(dir, name), b[:cut], 0o600)
		}
		kept, _, err := record.Read(dir)
		if err != nil {
			t.Fatal(err)
		}
		c := findCut(records, wall.Add(30*time.Second), 10*time.Minute)
		if len(kept) == 0 { // not even the first line: nothing to go on with
			if c.dir != "" {
				t.Errorf("cut %d: an empty journal was taken for a session", k)
			}
			continue
		}
		if c.dir == "" || c.pos != 30*audio.Rate {
			t.Fatalf("cut %d: not resumed at 30 s: %+v", k, c)
		}
		j, rec, err := openRecord(dir, wall, &c)
		if err != nil {
			t.Fatalf("cut %d: %v", k, err)
		}
		if _, err := j.Append(timeline.Event{At: timeline.Time(c.pos), Kind: timeline.Note}); err != nil {
			t.Fatal(err)
		}
		rec.Write(make([]float32, audio.Block), make([]float32, audio.Block))
		j.Close() // and the power is cut again: rec is never closed
		ok(t, "mend", dir)
		if out := ok(t, "verify", dir); !strings.Contains(out, strconv.Itoa(len(kept)+2)+" events") {
			t.Errorf("cut %d: %d events before: %s", k, len(kept), out)
		}
	}
}

// A wall clock that was set back an hour cannot make the session run backwards.
func TestClockSetBack(t *testing.T) {
	dir := smallRecord(t, 6)
	path := filepath.Join(dir, record.JournalName)
	b, _ := os.ReadFile(path)
	os.WriteFile(path, b[:bytes.LastIndexByte(b[:len(b)-1], '\n')+1], 0o600) // no close
	wall := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	if c := findCut(filepath.Dir(dir), wall.Add(-time.Hour), 10*time.Minute); c.dir == "" || audio.Duration(c.pos) < 6*time.Second || audio.Duration(c.pos) > 7*time.Second {
		t.Errorf("resumed at %v of 6 s", audio.Duration(c.pos))
	}
}

// Whatever a tar archive holds, nothing is written outside the folder.
func FuzzUnpack(f *testing.F) {
	for _, name := range []string{"events.jsonl", "../x", "/etc/x", "a/b", ".."} {
		var b bytes.Buffer
		w := tar.NewWriter(&b)
		w.WriteHeader(&tar.Header{Name: name, Size: 1, Mode: 0o600})
		w.Write([]byte("x"))
		w.Close()
		f.Add(b.Bytes())
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		outer := t.TempDir()
		dir := filepath.Join(outer, "in")
		os.Mkdir(dir, 0o700)
		unpack(bytes.NewReader(data), dir)
		if left, _ := os.ReadDir(outer); len(left) != 1 {
			t.Fatalf("written outside: %v", left)
		}
	})
}

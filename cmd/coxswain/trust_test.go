package main

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode"

	"filippo.io/age"

	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/coxtest"
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
	cmd := coxswainCommand(t, "replay", wav, "--out", out, "--quiet", "--recogniser", coxtest.Recogniser(t, "ear"))
	if b, err := cmd.CombinedOutput(); err != nil {
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

// The signature, the fingerprint and the amendments behind them, as a reviewer
// meets them on the command line.
func TestVerifyCommand(t *testing.T) {
	dir := smallRecord(t, 8)
	tmp := t.TempDir()
	room, reviewer := filepath.Join(tmp, "room"), filepath.Join(tmp, "reviewer")
	ok(t, "key", room)
	ok(t, "key", reviewer)
	ok(t, "sign", dir, "--sign-key", room)
	first := ok(t, "verify", dir, "--key", room+".pub")
	if !strings.Contains(first, "signature holds") || strings.Contains(first, "unsigned") || !strings.Contains(first, "8s of audio") {
		t.Error(first)
	}
	_, noted, _ := strings.Cut(strings.TrimSpace(first), "fingerprint ")
	ok(t, "amend", dir, "--do", "add", "--kind", "access.iv", "--at", "0:02", "--by", "AB", "--reason", "seen")
	ok(t, "amend", dir, "--do", "add", "--kind", "access.io", "--at", "0:03", "--by", "CD", "--reason", "seen too", "--sign-key", reviewer)
	out := ok(t, "verify", dir, "--key", room+".pub", "--key", reviewer+".pub", "--noted", noted)
	if strings.Count(out, "unsigned: ") != 1 || strings.Count(out, "since then: ") != 2 ||
		!strings.Contains(out, "IV access (amended by AB: seen)") {
		t.Error(out)
	}
	var asJSON struct{ Unsigned []string }
	if err := json.Unmarshal([]byte(ok(t, "verify", dir, "--key", room+".pub", "--json")), &asJSON); err != nil || len(asJSON.Unsigned) != 2 {
		t.Error(err, asJSON)
	}
	for _, args := range [][]string{{"timeline", dir}, {"export", dir, "--format", "csv"}} {
		if out := ok(t, args...); strings.Count(out, "unsigned") != 1 || !strings.Contains(out, "AB: seen") {
			t.Errorf("%v: %s", args, out)
		}
	}
	ok(t, "sign", dir, "--sign-key", room)
	if out := ok(t, "timeline", dir); strings.Contains(out, "unsigned") {
		t.Error(out)
	}
	if out := ok(t, "verify", dir, "--key", room+".pub"); strings.Contains(out, "unsigned") {
		t.Error(out)
	}
	var stdout, stderr bytes.Buffer
	for _, slip := range []string{"abc", noted[:32], noted + "0", strings.Repeat("g", 64)} { // accuses nobody
		if Main([]string{"verify", dir, "--noted", slip}, strings.NewReader(""), &stdout, &stderr) == 0 ||
			!strings.Contains(stderr.String(), "is no fingerprint") {
			t.Errorf("noted %q: %s", slip, &stderr)
		}
		stderr.Reset()
	}
	iv := regexp.MustCompile(`#(\d+) IV access`).FindStringSubmatch(out)
	ok(t, "amend", dir, "--do", "retract", "--event", iv[1], "--by", "AB", "--reason", "twice")
	if out := ok(t, "verify", dir, "--noted", noted); !strings.Contains(out, "taken back: IV access (amended by AB: twice)") {
		t.Errorf("what was taken back is not named: %s", out)
	}
	if Main([]string{"verify", dir, "--noted", strings.Repeat("0", 64)}, strings.NewReader(""), &stdout, &stderr) == 0 {
		t.Error("any fingerprint will do")
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
	b, _ := os.ReadFile(dir + record.Sealed)
	if bytes.Contains(b, []byte("session.open")) || !bytes.HasPrefix(b, []byte("age-encryption.org/v1\n")) {
		t.Error("the sealed file is not an age file")
	}
	back := filepath.Join(tmp, "back")
	ok(t, "unseal", dir+record.Sealed, "--identity", secret, "--out", back)
	ok(t, "verify", back)
	if got, _ := os.ReadFile(filepath.Join(back, recorder.PartName(0))); !bytes.Equal(got, want) {
		t.Error("the audio came back changed")
	}
	if _, err := exec.LookPath("age"); err != nil {
		t.Skip("no age program: `make test` installs it")
	}
	plain, err := exec.Command("age", "-d", "-i", secret, dir+record.Sealed).Output()
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

// A record made to attack whoever looks at it, folder name included, steers no
// terminal: what is printed is text.
func TestHostileRecordOnTheTerminal(t *testing.T) {
	records := t.TempDir()
	evil := "\x1b]0;owned\a\x1b[2J\u009b31m\u202e"
	dir := codeRecord(t, filepath.Join(records, "2026\x1b[2J"), 5,
		timeline.Event{At: timeline.Rate, Kind: timeline.Kind("drug." + evil), Text: evil, Heard: &timeline.Heard{Text: evil, Confidence: 1}},
		timeline.Event{At: timeline.Rate, Kind: timeline.Fault, Text: evil},
		timeline.Event{At: timeline.Rate, Kind: timeline.CueSpoken, Cue: evil, Sentence: evil})
	good := codeRecord(t, filepath.Join(records, "good\x1b[2J"), 5)
	cut := filepath.Join(records, "cut\x1b[2J")
	os.CopyFS(cut, os.DirFS(good))
	broken := filepath.Join(records, "broken\x1b[2J")
	os.MkdirAll(broken, 0o700)
	os.WriteFile(filepath.Join(broken, record.JournalName), []byte("{\"\x1b[2J\":1}\n"), 0o600)
	for _, args := range [][]string{
		{"timeline", dir}, {"timeline", dir, "--all"}, {"timeline", dir, "--points"}, {"verify", dir}, {"verify", broken}, {"mend", broken},
		{"verify", good}, {"mend", cut},
		{"records", "--records", records}, {"records", "--records", records, "--summary"},
		{"sign", broken, "--sign-key", filepath.Join(dir, record.JournalName)},
		{"amend", dir, "--do", "add", "--kind", "drug.\x1b[2J", "--at", "0:01", "--by", "AB", "--reason", "x"},
		{"export", dir, "--format", "csv"}, {"seal", broken, "--to", dir},
	} {
		var out, stderr bytes.Buffer
		Main(args, strings.NewReader(""), &out, &stderr)
		for _, c := range out.String() + stderr.String() {
			if unicode.In(c, unicode.Cc, unicode.Bidi_Control) && c != '\n' && c != '\t' && c != '\r' {
				t.Errorf("%q: %q is printed in %q%q", args, c, out.String(), stderr.String())
				break
			}
		}
		if out.Len()+stderr.Len() == 0 {
			t.Errorf("%q prints nothing", args)
		}
	}
}

package main

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/coxtest"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// The test binary is also coxswain itself and, for speed, a recogniser that
// hears "iv access" every two seconds.
func TestMain(m *testing.M) {
	part := coxtest.TakePart()
	if part == "coxswain" || len(os.Args) > 1 && (os.Args[1] == "ear" || os.Args[1] == "deliver") { // what coxswain itself starts
		os.Exit(Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr))
	}
	code := m.Run()
	stopChromium()
	os.Exit(code)
}

// coxswainCommand runs the program in a process of its own.
func coxswainCommand(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self, args...)
	cmd.Env = append(os.Environ(), coxtest.Part+"=coxswain")
	return cmd
}

// writeWAV writes 16-bit silence with a little dither.
func writeWAV(t *testing.T, path string, rate, channels, samples int) {
	t.Helper()
	var b bytes.Buffer
	le := func(v any) { binary.Write(&b, binary.LittleEndian, v) }
	size := 2 * channels * samples
	b.WriteString("RIFF")
	le(uint32(36 + size))
	b.WriteString("WAVEfmt ")
	le(uint32(16))
	le([]uint16{1, uint16(channels)})
	le([]uint32{uint32(rate), uint32(rate * 2 * channels)})
	le([]uint16{uint16(2 * channels), 16})
	b.WriteString("data")
	le(uint32(size))
	r := rand.New(rand.NewPCG(1, 1))
	for range samples * channels {
		le(int16(r.IntN(7) - 3))
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
}

// Wrong input is one clear line and a non-zero exit code.
func TestWrongInput(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string { return writeText(t, dir, name, text) }
	good, slow := filepath.Join(dir, "good.wav"), filepath.Join(dir, "slow.wav")
	writeWAV(t, good, 48000, 1, 48000)
	writeWAV(t, slow, 4000, 1, 4000)
	b, _ := os.ReadFile(good)
	cut, used := file("cut.wav", string(b[:20000])), filepath.Join(dir, "used")
	replayed(t, good, used)
	out := func(name string) string { return filepath.Join(dir, name) }
	for _, c := range []struct {
		name, want string
		args       []string
	}{
		{"no such microphone", `microphone "nowhere"`, []string{"run", "--input", "nowhere", "--records", out("r")}},
		{"no such file", "no such file", []string{"replay", out("none.wav"), "--out", out("a")}},
		{"4 kHz", "convert it with: ffmpeg", []string{"replay", slow, "--out", out("b")}},
		{"MP3", "MP3: convert it with: ffmpeg", []string{"listen", file("speech.mp3", "ID3 and what follows it")}},
		{"no WAV", "WAV", []string{"replay", file("text.wav", "hello"), "--out", out("d")}},
		{"truncated", "truncated", []string{"replay", cut, "--out", out("e"), "--recogniser", coxtest.Recogniser(t, "ear")}},
		{"folder in use", "exists", []string{"replay", good, "--out", used}},
		{"read-only folder", "cannot make the record's folder", []string{"replay", good, "--out", "/proc/record"}},
		{"no folder named", "--out DIR", []string{"replay", good}},
		{"recogniser missing", "cannot start", []string{"replay", good, "--out", out("f"), "--recogniser", "/no/such/program"}},
		{"empty vocabulary", "empty", []string{"callouts", "--vocabulary", file("empty.yaml", "")}},
		{"unknown callout", "unknown.yaml:3", []string{"callouts", "--vocabulary",
			file("unknown.yaml", "callouts:\n  - {id: rosc, phrases: [we have got him back]}\n"+
				"  - {id: no.such.callout, phrases: [tea is ready]}\n")}},
		{"callout named like an entry of the journal", "session.close is an entry",
			[]string{"replay", good, "--out", out("own"), "--vocabulary",
				file("own.yaml", "callouts:\n  - {id: undo, phrases: [undo it now]}\n"+
					"  - {id: session.close, new: true, phrases: [goodbye everybody]}\n")}},
		{"word without a pronunciation", "word.yaml:2",
			[]string{"callouts", "--vocabulary", file("word.yaml", "callouts:\n  - {id: rosc, phrases: [zzyzxian pulse]}\n")}},
		{"not YAML", "bad.yaml:1", []string{"callouts", "--vocabulary", file("bad.yaml", "callouts: [")}},
		{"unknown key", `unknown key "ratte"`, []string{"config", "--config", file("conf.yaml", "ratte: 100\n")}},
		{"open to the network without a token", "http_token", []string{"config", "--http", "0.0.0.0:7470"}},
		{"nobody runs", "no coxswain answers", []string{"status", "--records", out("none")}},
		{"not a key", "not a PEM key", []string{"sign", used, "--sign-key", file("k", "hello")}},
		{"no age key", "--to", []string{"seal", used, "--to", file("to", "hello")}},
		{"no age in days", "such as 90d", []string{"retain", "--older-than", "soon"}},
		{"which record", "say coxswain verify DIR", []string{"verify"}},
		{"one too many", `"b" is one too many`, []string{"verify", "a", "b"}},
		{"two too many", `"b" is one too many`, []string{"verify", "a", "b", "c"}},
		{"words behind run", `"extra" is one too many: say coxswain run`, []string{"run", "extra", "args"}},
		{"invalid number", `--rate is "fast": want a whole number`, []string{"config", "--rate", "fast"}},
		{"invalid time", "want a time such as 90m", []string{"check", "--backup-within", "soon"}},
		{"unknown flag", "no flag --volum: see coxswain config --help", []string{"config", "--volum", "1"}},
		{"unknown command", `no command "statsu": did you mean status?`, []string{"statsu"}},
		{"mute by a word", `conf2.yaml:2: volume is "loud"`, []string{"run", "--config", file("conf2.yaml", "rate: 105\nvolume: loud\n")}},
		{"no record", "holds no record", []string{"verify", out("nothing")}},
	} {
		t.Run(c.name, func(t *testing.T) { refused(t, c.want, c.args) })
	}
}

// A setting that names what is not there, or cannot be, is one clear line too.
func TestWrongSettings(t *testing.T) {
	dir := t.TempDir()
	file := func(name, text string) string { return writeText(t, dir, name, text) }
	missing, taken := filepath.Join(dir, "no"), file("taken", "")
	for _, c := range []struct {
		name, want string
		args       []string
	}{
		{"settings name a file that is not there", "vocabulary: nosuch: no such file", []string{"config", "--vocabulary", "nosuch"}},
		{"settings name a key that is none", "store_key: ", []string{"config", "--store-key", file("k2", "hello")}},
		{"settings name a microphone that is not there", `input: no such sound device: microphone "nowhere"`,
			[]string{"config", "--input", "nowhere"}},
		{"settings name a recogniser that is not there", "recogniser: no/such", []string{"config", "--recogniser", "no/such --fast"}},
		{"settings name a folder that is not there", "records: " + missing, []string{"config", "--records", missing}},
		{"settings name a folder that is a file", "records: " + taken + " is no folder", []string{"config", "--records", taken}},
		{"rate", "100 to 120", []string{"config", "--rate", "90"}},
		{"protocol", "choose one of", []string{"config", "--protocol", "none"}},
		{"protocol value", "over.yaml:2", []string{"config", "--protocol-overlay",
			file("over.yaml", "values:\n  cycle_s: {value: 3, unit: s, source: x}\n")}},
	} {
		t.Run(c.name, func(t *testing.T) { refused(t, c.want, c.args) })
	}
}

// What is written by hand is held to what can be called, and nothing is signed
// without a key.
func TestWrongAmendments(t *testing.T) {
	dir := t.TempDir()
	good, used := filepath.Join(dir, "good.wav"), filepath.Join(dir, "used")
	writeWAV(t, good, 48000, 1, 48000)
	replayed(t, good, used)
	add := []string{"amend", used, "--do", "add", "--by", "AB", "--reason", "x", "--at"}
	for want, args := range map[string][]string{
		"nothing is signed without a key":                         {"sign", used},
		"energy_j of shock.given is 999999: want 1 to 400 joules": with(add, "0:00", "--kind", "shock.given", "--value", "energy_j=999999"),
		"there is no callout":                                     with(add, "0:00", "--kind", "drug.foo"),
		"the time lies outside the record: want 0:00.0 to 0:01.0": with(add, "99:00", "--kind", "rhythm.vf"),
	} {
		t.Run(want, func(t *testing.T) { refused(t, want, args) })
	}
}

func with(args []string, more ...string) []string { return append(slices.Clone(args), more...) }

// replayed records a session over a WAV file in the folder out.
func replayed(t *testing.T, wav, out string) {
	t.Helper()
	cmd := coxswainCommand(t, "replay", wav, "--out", out, "--record", "always", "--recogniser", coxtest.Recogniser(t, "ear"))
	if said, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("a good replay: %v: %s", err, said)
	}
}

// writeText writes a file and returns its path.
func writeText(t *testing.T, dir, name, text string) string {
	t.Helper()
	p := filepath.Join(dir, name)
	if err := os.WriteFile(p, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return p
}

// refused runs a command that must end with exit code 1 and one line.
func refused(t *testing.T, want string, args []string) {
	t.Helper()
	var stderr bytes.Buffer
	cmd := coxswainCommand(t, args...)
	cmd.Stderr = &stderr
	err := cmd.Run()
	if x, ok := err.(*exec.ExitError); !ok || x.ExitCode() != 1 {
		t.Errorf("ended with %v, want exit code 1", err)
	}
	var said []string
	for _, l := range strings.Split(strings.TrimSpace(stderr.String()), "\n") {
		if l != Caution && !strings.Contains(l, "times real time") && strings.TrimSpace(l) != "" {
			said = append(said, l)
		}
	}
	if len(said) != 1 || !strings.HasPrefix(said[0], "coxswain: ") || !strings.Contains(said[0], want) {
		t.Errorf("said %q, want one line with %q", said, want)
	}
}

// A full disk costs audio, not the session: here no file may grow beyond
// 400 kB. The fault is in the journal and aloud, the journal is whole to its
// end, and the exit code says that audio is missing.
func TestFullDisk(t *testing.T) {
	dir := t.TempDir()
	wav := filepath.Join(dir, "in.wav")
	writeWAV(t, wav, 48000, 1, 20*48000)
	self, _ := os.Executable()
	cmd := exec.Command("bash", "-c", `ulimit -f 400; exec "$0" "$@"`, self, "replay", wav, "--out", dir+"/r", "--quiet",
		"--recogniser", coxtest.Recogniser(t, "ear"))
	cmd.Env = append(os.Environ(), coxtest.Part+"=coxswain")
	out, err := cmd.CombinedOutput()
	if x, ok := err.(*exec.ExitError); !ok || x.ExitCode() != 1 || !strings.Contains(string(out), "audio is missing") {
		t.Errorf("ended with %v: %s", err, out)
	}
	events, tail, err := record.Read(filepath.Join(dir, "r"))
	if err != nil || tail.Reason != "" {
		t.Fatal(err, tail)
	}
	n, faults, spoken := 0, 0, false
	for _, e := range events {
		switch {
		case e.Kind == timeline.AccessIV:
			n++
		case e.Kind == timeline.Fault:
			faults++
		case e.Kind == timeline.CueSpoken && strings.HasPrefix(e.Cue, "fault.disk"):
			spoken = true
		}
	}
	if n != 9 || faults != 1 || !spoken || events[len(events)-1].Kind != timeline.SessionClose {
		t.Errorf("%d of 9 callouts, %d faults of 1, fault spoken: %v, last event %s", n, faults, spoken, events[len(events)-1].Kind)
	}
}

// SIGKILL at 120 random moments (1,000 in `make soak`): the journal holds every event whose
// read-back had begun to sound, journal and audio log open, and at most a
// second of audio is missing.
func TestKill(t *testing.T) {
	dir := t.TempDir()
	wav := filepath.Join(dir, "in.wav")
	writeWAV(t, wav, 48000, 1, 300*48000)
	const hands = 4 // that kill at a time
	rounds := 120
	if os.Getenv("SOAK") != "" { // `make soak`
		rounds = 1000
	}
	var killed atomic.Int32
	t.Run("kill", func(t *testing.T) {
		for h := range hands {
			t.Run(strconv.Itoa(h), func(t *testing.T) {
				t.Parallel()
				r := rand.New(rand.NewPCG(7, uint64(h)))
				for k := range rounds / hands {
					out := filepath.Join(dir, fmt.Sprint(h, "-", k))
					if killReplay(t, wav, out, time.Duration(r.IntN(400_000))*time.Microsecond) {
						killed.Add(1)
					}
					checkKilled(t, out)
					os.RemoveAll(out)
				}
			})
		}
	})
	t.Logf("%d of %d killed while running", killed.Load(), rounds)
	if int(killed.Load()) < rounds*3/4 {
		t.Errorf("only %d of %d replays were still running when killed", killed.Load(), rounds)
	}
}

// killReplay kills a replay some time after its audio log was opened, and
// reports whether it still ran.
func killReplay(t *testing.T, wav, out string, after time.Duration) bool {
	t.Helper()
	cmd := coxswainCommand(t, "replay", wav, "--out", out, "--quiet", "--recogniser", coxtest.Recogniser(t, "ear"))
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	for begun := time.Now(); time.Since(begun) < patience; time.Sleep(time.Millisecond) {
		if _, err := os.Stat(filepath.Join(out, recorder.PartName(0))); err == nil {
			break
		}
	}
	time.Sleep(after)
	cmd.Process.Kill()
	return cmd.Wait() != nil
}

func checkKilled(t *testing.T, dir string) {
	t.Helper()
	if st, err := os.Stat(filepath.Join(dir, record.JournalName)); err == nil && st.Size() == 0 {
		if b, _ := os.ReadFile(filepath.Join(dir, recorder.PartName(0))); len(b) < audio.Rate*4 {
			return // killed before the first event: a second of sound at most
		}
	}
	events, _, err := record.Read(dir)
	if err != nil {
		t.Fatal(err)
	}
	said := coxtest.Count(events, timeline.AccessIV, "")
	path := filepath.Join(dir, recorder.PartName(0))
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if len(b) < 700 {
		return // killed before the first block
	}
	// All the sound that reached the disk, whether or not the header knows of it.
	if heard := bursts(b[len(b)%4:]); heard > said+1 { // one more: the opening sentence
		t.Errorf("%d sentences sounded, %d events are in the journal", heard, said)
	}
	text, err := exec.Command("soxi", "-s", path).CombinedOutput()
	n, aerr := strconv.Atoi(strings.TrimSpace(string(text)))
	if err != nil || aerr != nil {
		t.Fatalf("sox cannot open the audio log: %v: %s", err, text)
	}
	if missing := (len(b)-680)/4 - n; missing > audio.Rate {
		t.Errorf("the header leaves out %.1f s of audio", float64(missing)/audio.Rate)
	}
	r, err := record.Mend(dir)
	if err != nil {
		t.Errorf("mend: %v", err)
		return
	}
	if _, err := r.Verify(); err != nil {
		t.Errorf("verify after mend: %v", err)
	}
}

// bursts counts the sentences on channel 2: sounds with half a second of
// silence before them.
func bursts(b []byte) int {
	n, quiet := 0, audio.Rate
	for i := len(b) % 4; i+4 <= len(b); i += 4 {
		x := int16(binary.LittleEndian.Uint16(b[i+2:]))
		if x > 300 || x < -300 {
			if quiet >= audio.Rate/2 && i > 700 {
				n++
			}
			quiet = 0
		} else {
			quiet++
		}
	}
	return n
}

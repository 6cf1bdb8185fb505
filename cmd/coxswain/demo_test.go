package main

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"text/tabwriter"
	"time"

	"coxswain/audio"
	"coxswain/audio/audiotest"
	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/coxtest"
	"coxswain/cmd/coxswain/rig"
	"coxswain/cmd/coxswain/session"
	"coxswain/intents"
	"coxswain/intents/acoustic"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

var update = flag.Bool("update", false, "rewrite golden files; commit only what you understand")

// testConf returns the default settings and the built-in vocabulary.
func testConf(t *testing.T) (*config.Config, *intents.Vocabulary) {
	t.Helper()
	c, err := config.Load(newRoot(os.Stderr).Flags(), nil)
	if err != nil {
		t.Fatal(err)
	}
	v, err := intents.LoadVocabulary(c.Vocabulary...)
	if err != nil {
		t.Fatal(err)
	}
	return c, v
}

// replayDemo replays the demo's rendered scene into a folder, in a room that
// carries the loudspeaker back (nil: none).
func replayDemo(t *testing.T, wav, dir string, room func(in, played []float32)) {
	t.Helper()
	c, v := testConf(t)
	r, err := acoustic.New(v)
	if err != nil {
		t.Fatal(err)
	}
	o, err := rig.Rig{Config: c, Software: "coxswain " + Version}.Options(v, room != nil)
	if err != nil {
		t.Fatal(err)
	}
	o.Ear, o.Recogniser, o.Source, o.Wall = intents.Inline{Recogniser: r}, "builtin", "demo.wav", time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	o.Begin = func(b session.Beginning) (session.Kept, error) { return rig.BeginIn(dir, b) }
	s, err := session.New(o)
	if err != nil {
		t.Fatal(err)
	}
	in, err := recorder.OpenMono(wav, audio.Rate)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	if err := s.Feed(in, room, new(bytes.Buffer)); err != nil {
		t.Fatal(err)
	}
}

// The demo end to end: nothing missed, nothing invented, read-backs within 500 ms, the
// beat right to the sample. Its beginning alone gives the same bytes: a replay is the same
// twice, and nothing depends on what comes later.
func TestDemo(t *testing.T) {
	out := t.TempDir()
	wav := filepath.Join(out, "demo.wav")
	coxtest.Render(t, "testdata/demo.scene", wav)
	dir, beginning, inRoom := filepath.Join(out, "0"), filepath.Join(out, "1"), filepath.Join(out, "2")
	t.Run("replays", func(t *testing.T) {
		for _, r := range []struct {
			wav, dir string
			room     func(in, played []float32)
		}{{wav, dir, nil}, {cutWAV(t, wav, 70), beginning, nil},
			{cutWAV(t, wav, roomSeconds()), inRoom, audiotest.NewRoom(0.035, 0.3, 0.5).Hear}} {
			t.Run(filepath.Base(r.dir), func(t *testing.T) {
				t.Parallel()
				replayDemo(t, r.wav, r.dir, r.room)
			})
		}
	})
	t.Run("in a room", func(t *testing.T) { heardInARoom(t, inRoom) })
	events, length, err := coxtest.Whole(dir)
	if err != nil {
		t.Fatal(err)
	}
	table := tableOf(events)
	golden := "../../testdata/demo.golden"
	if *update {
		if err := os.WriteFile(golden, []byte(table), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if table != string(want) {
		t.Errorf("the demo's timeline differs from %s:\n%s", golden, table)
	}
	if length != 490*audio.Rate {
		t.Errorf("audio is %d samples long", length)
	}
	readBacks(t, events, 0.5)
	begunAlike(t, dir, beginning, 60)
}

// roomSeconds is how much of the demo is replayed in a room: 20 of its 34 callouts, all in `make soak`.
func roomSeconds() int {
	if os.Getenv("SOAK") != "" {
		return 490
	}
	return 270
}

// tableOf is every event with its ids, of which the timeline that people read tells the words.
func tableOf(events []timeline.Event) string {
	var out bytes.Buffer
	gone, again, start := timeline.Retracted(events), timeline.Repeated(events), timeline.Fold(events).CodeAt()
	tw := tabwriter.NewWriter(&out, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "#\tsession\tcode\tevent\theard as\tsure")
	for _, e := range events {
		if e.Kind == timeline.CueSpoken && gone[e.Seq] {
			continue
		}
		code, text, sure, what := "", "", "", e.Describe()
		if start != timeline.Never && e.At >= start {
			code = (e.At - start).String()
		}
		if e.Heard != nil {
			text, sure = e.Heard.Text, fmt.Sprintf("%.0f %%", 100*e.Heard.Confidence)
		}
		if gone[e.Seq] {
			what += " (taken back)"
		}
		if again[e.Seq] {
			what += " (" + timeline.Again + ")"
		}
		fmt.Fprintf(tw, "%d\t%s\t%s\t%s\t%s\t%s\n", e.Seq, e.At, code, what, text, sure)
	}
	tw.Flush()
	return out.String() + "\n" + Caution + "\n"
}

// cutWAV writes the first seconds of a recording as a file of its own.
func cutWAV(t *testing.T, wav string, seconds int) string {
	t.Helper()
	cut := filepath.Join(t.TempDir(), "cut.wav")
	if b, err := exec.Command("sox", "-D", wav, cut, "trim", "0", strconv.Itoa(seconds)).CombinedOutput(); err != nil {
		t.Fatalf("sox: %v: %s", err, b)
	}
	return cut
}

// begunAlike holds two records to the same bytes for their first seconds, a multiple of ten:
// the journal up to the hash of the sound until then, and that sound.
func begunAlike(t *testing.T, a, b string, seconds int) {
	t.Helper()
	hash := []byte(fmt.Sprintf(`"until":%d,"sha256"`, seconds*audio.Rate))
	for f, part := range map[string]func(b []byte) (from, size int){
		record.JournalName:   func(b []byte) (from, size int) { return 0, bytes.Index(b, hash) },
		recorder.PartName(0): func(b []byte) (from, size int) { return bytes.Index(b, []byte("data")) + 8, seconds * audio.Rate * 4 },
	} {
		x, _ := os.ReadFile(filepath.Join(a, f))
		y, _ := os.ReadFile(filepath.Join(b, f))
		from, size := part(x)
		if size < 1 || len(y) < from+size || !bytes.Equal(x[from:from+size], y[from:from+size]) {
			t.Errorf("%s differs in its first %d s between two replays", f, seconds)
		}
	}
}

// readBacks holds every callout's answer to so many seconds after the phrase's
// last sound.
func readBacks(t *testing.T, events []timeline.Event, limit float64) {
	worst := timeline.Time(0)
	for i, e := range events {
		if e.Heard == nil {
			continue
		}
		for _, later := range events[i+1:] {
			if later.Kind == timeline.CueSpoken && later.At >= e.Heard.Decided {
				if d := later.At - e.Heard.End; d > worst {
					worst = d
				}
				break
			}
		}
	}
	t.Logf("slowest read-back starts %s after the phrase's end", worst)
	if worst > timeline.Seconds(limit) {
		t.Errorf("slowest read-back starts %v s after the phrase's end, want %v", worst.Seconds(), limit)
	}
}

// heardInARoom holds a record of the demo in a virtual room: the loudspeaker comes back to the microphone
// 45 ms later, reverberating for 0.3 s, about as loud as the leader. The same
// callouts are heard as without it, but for two of the 34 at most; none is our own voice.
func heardInARoom(t *testing.T, dir string) {
	t.Helper()
	golden, err := os.ReadFile("../../testdata/demo.golden")
	if err != nil {
		t.Fatal(err)
	}
	var want, got []string
	for _, l := range strings.Split(string(golden), "\n") { // number, session, code, event, heard as, sure
		f := regexp.MustCompile(` {2,}`).Split(l, -1)
		if len(f) < 5 || !strings.HasSuffix(strings.TrimSpace(l), "%") {
			continue
		}
		if at, err := timeline.ParseTime(f[1]); err != nil {
			t.Fatal(err)
		} else if at < timeline.Seconds(float64(roomSeconds())) {
			want = append(want, strings.TrimSuffix(f[3], " (taken back)"))
		}
	}
	events, _, err := coxtest.Whole(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range events {
		if e.Heard != nil {
			got = append(got, e.Describe())
		}
	}
	missed, left := coxtest.Differ(t, want, got)
	t.Logf("%d of %d callouts heard in the room, %d heard in all", len(want)-missed, len(want), len(got))
	if len(want) < 20 || missed > len(want)/17 || len(left) > 1 { // one may be lost, one may lose its number
		t.Errorf("%d of %d callouts missed, invented: %v", missed, len(want), left)
	}
}

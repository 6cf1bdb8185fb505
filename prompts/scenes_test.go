package prompts

import (
	"cmp"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"coxswain/audio"
	"coxswain/timeline"
)

var update = flag.Bool("update", false, "rewrite golden files; commit only what you understand")

// A scene is what a team calls and, behind "----", all that is heard in the room, read by
// whoever knows the guideline: every sentence must be true, in time and not a mere
// repetition, and the next step the right one. Lines of it:
//
//	protocol ID          whose numbers and words hold
//	M:SS KIND [K=V]      a callout
//	until M:SS           how long the scene lasts
//
// Behind it ">" is a callout, "(cut)" a sentence that fell silent before its end, and "-"
// one that was not said, with the reason.
func TestScenes(t *testing.T) {
	files, err := filepath.Glob("testdata/scenes/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no scenes: %v", err)
	}
	voice, err := NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			t.Parallel()
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			var got strings.Builder
			for _, scene := range strings.Split(strings.TrimSpace(string(b)), "\n\n") {
				script, _, _ := strings.Cut(scene, "\n----")
				fmt.Fprintf(&got, "%s\n----\n%s\n", script, play(t, voice, script))
			}
			text := strings.TrimRight(got.String(), "\n") + "\n"
			if *update {
				if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
					t.Fatal(err)
				}
			} else if text != string(b) {
				t.Errorf("%s differs; got:\n%s", file, text)
			}
		})
	}
}

// play returns what is heard in a scene, in the order of time.
func play(t *testing.T, voice *Voice, script string) string {
	t.Helper()
	var list []callout
	p, end, v := (*timeline.Protocol)(nil), timeline.Time(0), voice
	for line := range strings.Lines(script) {
		w := strings.Fields(line)
		switch {
		case len(w) == 0 || w[0] == "#":
		case w[0] == "protocol":
			var err error
			if p, err = timeline.LoadProtocol(w[1]); err != nil {
				t.Fatal(err)
			}
			if v, err = voice.In(p.Words); err != nil {
				t.Fatal(err)
			}
		case w[0] == "until":
			end = moment(t, w[1])
		default:
			e := timeline.Event{At: moment(t, w[0]), Kind: timeline.Kind(w[1]), Values: map[string]float64{}}
			if !e.Kind.IsCallout() {
				t.Fatalf("no callout %q", w[1])
			}
			for _, kv := range w[2:] {
				k, x, _ := strings.Cut(kv, "=")
				number, err := strconv.ParseFloat(x, 64)
				if err != nil {
					t.Fatal(err)
				}
				e.Values[k] = number
			}
			list = append(list, callout{e.At, e})
		}
	}
	lines := scene(v, p, list, end)
	slices.SortStableFunc(lines, func(a, b sentence) int { return cmp.Compare(a.at, b.at) })
	var out strings.Builder
	for _, x := range lines {
		fmt.Fprintf(&out, "%7s %s\n", x.at, x.text)
	}
	return out.String()
}

func moment(t *testing.T, text string) timeline.Time {
	t.Helper()
	at, err := timeline.ParseTime(text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// scene plays callouts through machine and scheduler to end, with people who take as long
// to call as they do.
func scene(v *Voice, p *timeline.Protocol, list []callout, end timeline.Time) (out []sentence) {
	player := audio.NewPlayer(0)
	s, m := NewScheduler(v, player, 1), timeline.NewMachine(p)
	s.SetFresh(m.Fresh)
	block, seq, next := make([]float32, audio.Block), uint64(0), 0
	var step func(e timeline.Event, now timeline.Time)
	step = func(e timeline.Event, now timeline.Time) {
		seq++
		e.Seq = seq
		ready := m.Step(e, now)
		for _, more := range ready.Events {
			step(more, now)
		}
		s.Withdraw("taken back", func(c timeline.Cue) bool { return c.About != 0 && slices.Contains(ready.Withdrawn, c.About) })
		s.Withdraw("no longer due", m.Stale)
		if ready.Ended {
			s.Withdraw("the case has ended", func(timeline.Cue) bool { return true })
		}
		for _, c := range ready.Cues {
			s.Offer(c)
		}
	}
	for now := timeline.Time(0); now < end; now += audio.Block {
		for next < len(list) && list[next].at+timeline.Seconds(0.4) <= now {
			out = append(out, sentence{list[next].at, 0, "> " + list[next].event.Describe()})
			step(list[next].event, now)
			next++
		}
		s.Speech(slices.ContainsFunc(list, func(c callout) bool {
			from, to := calling(c.event)
			return now >= from+timeline.Seconds(0.1) && now < to+timeline.Seconds(0.25)
		}))
		for _, c := range m.Tick(now) {
			s.Offer(c)
		}
		for _, sp := range s.Advance(audio.Block) {
			switch {
			case sp.Cut:
				out[lastSaid(out)].text += " (cut)"
			case sp.Dropped == "":
				m.Spoken(sp.Cue)
				out = append(out, sentence{sp.At, sp.Until, fmt.Sprintf("  %q", sp.Text)})
			default:
				m.Spoken(sp.Cue)
				out = append(out, sentence{sp.At, 0, fmt.Sprintf("  - %q %s", sp.Text, sp.Dropped)})
			}
		}
		player.Render(block)
	}
	return out
}

// lastSaid is the place of the sentence that sounded last.
func lastSaid(list []sentence) int {
	for i, x := range slices.Backward(list) {
		if x.until > 0 {
			return i
		}
	}
	return 0
}

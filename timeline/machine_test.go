package timeline

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "rewrite golden files; commit only what you understand")

// A transcript is commands and, behind "----", what they lead to:
//
//	protocol ID          start over with a protocol
//	SECONDS KIND [K=V]   a callout at that second of session time; ago=N: that was N minutes ago, told with it
//	until SECONDS        let time pass
//	busy, free           answers wait to be spoken, or not any more
//	state                print where the code stands
//
// Time passes tick by tick, 10 ms each, as in a session.
func TestTranscripts(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(files) == 0 {
		t.Fatalf("no transcripts: %v", err)
	}
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			got := run(t, string(b))
			if *update {
				if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if got != string(b) {
				t.Errorf("%s differs; got:\n%s", file, got)
			}
		})
	}
}

type stage struct {
	m   *Machine
	now Time
	seq uint64
	out strings.Builder

	busy bool // something else sounds: answers wait
}

func (s *stage) until(at Time) {
	for ; s.now < at; s.now += Rate / 100 {
		for _, c := range s.m.Tick(s.now) {
			fmt.Fprintln(&s.out, c.Describe())
		}
	}
}

// stageOf is a stage whose answers all wait.
func stageOf(t *testing.T, protocol string) *stage {
	t.Helper()
	p, err := LoadProtocol(protocol)
	if err != nil {
		t.Fatal(err)
	}
	return &stage{m: NewMachine(p), busy: true}
}

// call is called at a second, without a tick before it; the answers are returned.
func (s *stage) call(at float64, k Kind, values map[string]float64) []Cue {
	s.now = Seconds(at)
	return s.step(Event{At: s.now, Kind: k, Values: values})
}

// step takes an event, and what follows from it; the answers to it are returned.
func (s *stage) step(e Event) []Cue {
	s.seq++
	e.Seq = s.seq
	r := s.m.Step(e, s.now)
	for _, more := range r.Events {
		fmt.Fprintf(&s.out, "%s %s\n", more.At, more.Describe())
		s.step(more)
	}
	for _, c := range r.Cues {
		fmt.Fprintln(&s.out, c.Describe())
		if !s.busy {
			s.m.Spoken(c)
		}
	}
	return r.Cues
}

// add takes an event that is told with its time.
func (s *stage) add(e Event) {
	s.seq++
	e.Seq = s.seq
	for _, more := range s.m.Add(e, s.now) {
		fmt.Fprintf(&s.out, "%s %s\n", more.At, more.Describe())
		s.step(more)
	}
}

func run(t *testing.T, text string) string {
	var got strings.Builder
	s := &stage{}
	for _, block := range strings.Split(strings.TrimSpace(text), "\n\n") {
		commands, _, _ := strings.Cut(block+"\n", "----\n")
		s.out.Reset()
		for _, line := range strings.Split(strings.TrimSpace(commands), "\n") {
			s.command(t, line)
		}
		got.WriteString(commands + "----\n" + s.out.String() + "\n")
	}
	return strings.TrimRight(got.String(), "\n") + "\n"
}

func (s *stage) command(t *testing.T, line string) {
	w := strings.Fields(line)
	switch {
	case len(w) == 0 || w[0] == "#" || strings.HasPrefix(line, "#"):
	case w[0] == "protocol":
		p, err := LoadProtocol(w[1])
		if err != nil {
			t.Fatal(err)
		}
		s.m, s.now, s.seq = NewMachine(p), 0, 0
	case w[0] == "busy" || w[0] == "free":
		s.busy = w[0] == "busy"
	case w[0] == "until":
		s.until(seconds(t, w[1]))
	case w[0] == "state":
		st := s.m.State()
		fmt.Fprintf(&s.out, "compressing=%v pulse=%v rhythm=%s shocks=%d epinephrine=%d antiarrhythmics=%d metronome=%v cycle=%s\n",
			st.Compressing, st.PulsePresent, st.Rhythm, len(st.Shocks), len(st.Given["epinephrine"]), st.Antiarrhythmics(),
			s.m.protocol.For(st).Metronome(st, s.now), st.CycleFrom)
	default:
		s.until(seconds(t, w[0]))
		e := Event{At: s.now, Kind: Kind(w[1])}
		if !e.Kind.IsCallout() {
			t.Fatalf("unknown callout %q", w[1])
		}
		for _, kv := range w[2:] {
			k, v, _ := strings.Cut(kv, "=")
			if e.Values == nil {
				e.Values = map[string]float64{}
			}
			e.Values[k], _ = strconv.ParseFloat(v, 64)
		}
		if ago, ok := e.Values["ago"]; ok {
			delete(e.Values, "ago")
			e.Heard = &Heard{End: s.now}
			s.add(e)
			e = Event{At: s.now, Kind: Backdate, Values: map[string]float64{"minutes": ago}}
		}
		s.step(e)
	}
}

func seconds(t *testing.T, s string) Time {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatalf("%q is no number of seconds", s)
	}
	return Seconds(x)
}

// No order of callouts may panic, lose an event, say a cue twice, or call
// epinephrine due earlier than the protocol's interval.
func TestAnyOrder(t *testing.T) {
	p, err := LoadProtocol("aha-2020")
	if err != nil {
		t.Fatal(err)
	}
	kinds := append([]Kind{"drug.epinephrine", "cause.treated.hypoxia", "cause.excluded.toxins", "ask.dose.epinephrine",
		"ask.dose.shock", "correct.drug.lidocaine"}, Callouts...)
	for seed := range uint64(300) {
		r := rand.New(rand.NewPCG(seed, 1))
		m := NewMachine(p)
		said := map[string]bool{}
		var seq uint64
		lastEpi := Never
		for now := Time(0); now < Seconds(900); now += Rate / 2 {
			if r.IntN(20) == 0 {
				seq++
				e := Event{Seq: seq, At: max(0, now-Time(r.IntN(2))*Rate), Kind: kinds[r.IntN(len(kinds))]}
				e.Values = map[string]float64{"dose_mg": float64(r.IntN(400)), "energy_j": float64(r.IntN(400)),
					"weight_kg": float64(r.IntN(120)), "age_y": float64(r.IntN(90)), "minutes": float64(r.IntN(5))}
				for _, more := range m.Step(e, now).Events {
					seq++
					more.Seq = seq
					m.Step(more, now)
				}
				if n := len(m.State().Given["epinephrine"]); n > 0 {
					lastEpi = m.State().Given["epinephrine"][n-1].At
				} else {
					lastEpi = Never
				}
			}
			for _, c := range m.Tick(now) {
				if said[c.key()] {
					t.Fatalf("seed %d: %s said twice", seed, c.Describe())
				}
				said[c.key()] = true
				if c.ID == "epinephrine.due" && now < lastEpi+p.Span("epinephrine_due_s") {
					t.Fatalf("seed %d: epinephrine due at %s, last at %s", seed, now, lastEpi)
				}
			}
		}
		if got := uint64(len(m.events)); got != seq {
			t.Fatalf("seed %d: %d events of %d", seed, got, seq)
		}
		if again := Fold(m.events); fmt.Sprint(again) != fmt.Sprint(m.State()) {
			t.Fatalf("seed %d: the fold of the events is not the state", seed)
		}
	}
}

// What waits to be said while the team goes on is not said: hands-off time once
// hands are on, a dose once it was given. What still holds waits on.
func TestStale(t *testing.T) {
	p, err := LoadProtocol("aha-2020")
	if err != nil {
		t.Fatal(err)
	}
	m := NewMachine(p)
	var seq uint64
	step := func(at float64, k Kind) {
		seq++
		m.Step(Event{Seq: seq, At: Seconds(at), Kind: k}, Seconds(at))
	}
	tick := func(at float64, id string) Cue {
		for _, c := range m.Tick(Seconds(at)) {
			if c.ID == id {
				return c
			}
		}
		t.Fatalf("no %s at %v s", id, at)
		return Cue{}
	}
	step(0, CodeStart)
	step(2, CompressionsStart)
	step(10, RhythmPEA)
	epi := tick(13, "epinephrine.first")
	step(14, CompressionsStop)
	pause := tick(19, "pause.warning")
	if m.Stale(pause) || m.Stale(epi) || m.Stale(Cue{ID: "fault.disk"}) {
		t.Error("stale though nothing has changed")
	}
	step(20, CompressionsStart)
	if !m.Stale(pause) || m.Stale(epi) {
		t.Error("after compressions: the pause is over, the dose is not given")
	}
	if step(21, Epinephrine); !m.Stale(epi) {
		t.Error("the dose was given")
	}
}

// A machine that was given the events so far keeps its own: what the caller
// appends afterwards, and what the machine does, never share memory.
func TestMachineOwnsItsEvents(t *testing.T) {
	p, err := LoadProtocol("aha-2020")
	if err != nil {
		t.Fatal(err)
	}
	events := make([]Event, 1, 8) // with room for more, as append leaves it
	events[0] = Event{Seq: 1, Kind: CodeStart}
	m := NewMachine(p, events...)
	events = append(events, Event{Seq: 2, Kind: CompressionsStart, At: Rate})
	m.Step(Event{Seq: 2, Kind: RhythmVF, At: Rate}, Rate)
	if events[1].Kind != CompressionsStart || m.State().Compressing {
		t.Errorf("the caller's events: %v", events)
	}
}

func BenchmarkTick(b *testing.B) {
	p, err := LoadProtocol("aha-2020")
	if err != nil {
		b.Fatal(err)
	}
	m := NewMachine(p)
	for i, k := range []Kind{CodeStart, CompressionsStart, RhythmVF, ShockGiven, CompressionsStart, Epinephrine} {
		m.Step(Event{Seq: uint64(i + 1), At: Seconds(float64(i) * 10), Kind: k}, 0)
	}
	now := Seconds(60)
	for b.Loop() {
		m.Tick(now)
		if now += Rate / 100; now > Seconds(600) { // as long as a code: after it, only more of the same
			now = Seconds(60)
		}
	}
}

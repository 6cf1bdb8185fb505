package drill

import (
	"strconv"
	"strings"
	"testing"

	"coxswain/timeline"
)

func protocol(t *testing.T, id string) *timeline.Protocol {
	t.Helper()
	p, err := timeline.LoadProtocol(id)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func load(t *testing.T, id string) *Case {
	t.Helper()
	c, err := Load(id)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// called makes the events of callouts at seconds, with the questions that a
// session would have asked about them: "14 compressions.start, 24 rhythm.vf".
func called(t *testing.T, p *timeline.Protocol, text string) []timeline.Event {
	t.Helper()
	m := timeline.NewMachine(p)
	var all []timeline.Event
	var take func(e timeline.Event)
	take = func(e timeline.Event) {
		e.Seq = uint64(len(all) + 1)
		all = append(all, e)
		for _, more := range m.Step(e, e.At).Events {
			take(more)
		}
	}
	for _, word := range strings.Split(text, ",") {
		f := strings.Fields(word)
		at, err := timeline.ParseTime(f[0])
		if err != nil || !timeline.Kind(f[1]).IsCallout() {
			t.Fatalf("%q: %v", word, err)
		}
		e := timeline.Event{At: at, Kind: timeline.Kind(f[1])}
		for _, kv := range f[2:] {
			k, v, _ := strings.Cut(kv, "=")
			x, _ := strconv.ParseFloat(v, 64)
			e.Values = map[string]float64{k: x}
		}
		take(e)
	}
	return all
}

// points returns what a finding earned, by the start of its reason.
func points(t *testing.T, list []Finding, reason string) Finding {
	t.Helper()
	for _, f := range list {
		if strings.HasPrefix(f.Reason, reason) {
			return f
		}
	}
	t.Fatalf("nothing is looked for as %q", reason)
	return Finding{}
}

// Every case loads, tells, ends and scores by the timeline alone, under every
// protocol; every point lost comes with what to do better.
func TestCases(t *testing.T) {
	if len(IDs()) < 6 {
		t.Fatalf("cases: %v", IDs())
	}
	for _, id := range IDs() {
		c := load(t, id)
		told, over := c.Told(nil, timeline.Seconds(7))
		if len(told) == 0 || over {
			t.Errorf("%s: tells %v at its start, over: %v", id, told, over)
		}
		if _, over := c.Told(nil, timeline.Seconds(60*c.Minutes+1)); !over {
			t.Errorf("%s: never ends", id)
		}
		for _, guideline := range timeline.Protocols() {
			for _, f := range c.Score(protocol(t, guideline), nil) {
				if f.Source == "" || f.Reason == "" || f.Points < f.Of && f.Better == "" {
					t.Errorf("%s: %+v lacks reason, source or what to do better", id, f)
				}
				if f.Points > 0 {
					t.Errorf("%s: points for nothing: %+v", id, f)
				}
			}
		}
	}
}

// A good and a poor run of one case: the points lost name their reason, what to
// do better and when to listen.
func TestScore(t *testing.T) {
	c, p := load(t, "shockable"), protocol(t, "aha-2025")
	sum := func(list []Finding) (got, of int, lost string) {
		for _, f := range list {
			got, of = got+f.Points, of+f.Of
			if f.Points < f.Of {
				lost += f.Reason + "; "
			}
		}
		return
	}
	good := c.Score(p, called(t, p, `14 compressions.start, 20 rhythm.check, 24 rhythm.vf, 28 shock.given,
		30 compressions.start, 140 rhythm.check,
		143 rhythm.vf, 146 shock.given, 148 compressions.start, 160 drug.epinephrine, 268 rhythm.check,
		271 rhythm.organised, 275 rosc, 290 intervention.ecg`))
	if got, of, lost := sum(good); got != of {
		t.Errorf("a good run: %d of %d: %s", got, of, lost)
	}
	poor := c.Score(p, called(t, p, `45 compressions.start, 50 rhythm.check, 52 rhythm.vf, 100 shock.given,
		130 compressions.start, 131 drug.epinephrine, 150 drug.epinephrine`))
	got, of, lost := sum(poor)
	if got >= of/2 || !strings.Contains(lost, "compressions at once;") || !strings.Contains(lost, "no pause") ||
		!strings.Contains(lost, "contradiction") {
		t.Errorf("a poor run: %d of %d: %s", got, of, lost)
	}
	if f := points(t, poor, "a shock as soon"); f.Listen != timeline.Seconds(100) || !strings.Contains(f.Better, "Charge") ||
		!strings.Contains(f.Found, "48 s after (wanted within 30 s)") {
		t.Errorf("%+v", f)
	}
}

// One cardioversion is no second one.
func TestOneCardioversionIsNotTwo(t *testing.T) {
	c, p := load(t, "unstable-vt"), protocol(t, "aha-2025")
	once := c.Score(p, called(t, p, "10 rhythm.vt, 15 patient.unstable, 40 cardioversion.given"))
	if f := points(t, once, "a second"); f.Points != 0 || f.Found != "not called" {
		t.Errorf("once: %+v", f)
	}
	if f := points(t, once, "a synchronised shock"); f.Points != f.Of {
		t.Errorf("the first: %+v", f)
	}
	twice := c.Score(p, called(t, p, "10 rhythm.vt, 15 patient.unstable, 40 cardioversion.given, 60 cardioversion.given"))
	if f := points(t, twice, "a second"); f.Points != f.Of {
		t.Errorf("twice: %+v", f)
	}
}

// What was done before the moment at which it is looked for counts, by the
// state at that moment; what had held and holds no more does not.
func TestEarlyCounts(t *testing.T) {
	c, p := load(t, "child"), protocol(t, "aha-2025")
	early := c.Score(p, called(t, p, "2 patient.child, 4 patient.age age_y=4, 8 compressions.start, "+
		"30 drug.epinephrine dose_mg=0.16, 60 rhythm.check, 62 rhythm.asystole"))
	for _, reason := range []string{"compressions at once", "child doses", "weight or age", "epinephrine"} {
		if f := points(t, early, reason); f.Points != f.Of {
			t.Errorf("early: %+v", f)
		}
	}
	stopped := c.Score(p, called(t, p, "8 compressions.start, 9 compressions.stop, 60 compressions.start"))
	if f := points(t, stopped, "compressions at once"); f.Points != 0 {
		t.Errorf("stopped again: %+v", f)
	}
	c = load(t, "shockable")
	soon := c.Score(p, called(t, p, "14 compressions.start, 24 rhythm.vf, 28 shock.given, 30 compressions.start, 60 rhythm.check, "+
		"62 compressions.start"))
	if f := points(t, soon, "rhythm check two minutes"); f.Points != 0 {
		t.Errorf("a check half a minute after the shock: %+v", f)
	}
	before := c.Score(p, called(t, p, "5 intervention.ecg, 14 compressions.start, 24 rhythm.vf, 28 shock.given, "+
		"30 compressions.start, 150 rosc"))
	if f := points(t, before, "twelve lead"); f.Points != 0 {
		t.Errorf("a twelve lead before the arrest: %+v", f)
	}
}

// What is to be left alone is judged by the state in which it was done: a shock
// in later fibrillation is neither a shock in asystole nor one with a pulse.
func TestAvoidedByState(t *testing.T) {
	p := protocol(t, "aha-2025")
	for _, c := range []struct {
		id, reason, events string
		earned             bool
	}{
		{"pea", "no shock", "14 compressions.start, 20 rhythm.check, 22 rhythm.pea, 140 rhythm.check, 142 rhythm.vf, 150 shock.given", true},
		{"pea", "no shock", "14 compressions.start, 20 rhythm.check, 22 rhythm.pea, 30 shock.given", false},
		{"pea", "no shock", "14 compressions.start, 20 rhythm.vf, 30 shock.given, 140 rhythm.pea, 150 drug.epinephrine", true},
		{"child", "no shock", "14 compressions.start, 22 rhythm.asystole, 142 rhythm.vf, 150 shock.given", true},
		{"child", "no shock", "14 compressions.start, 22 rhythm.asystole, 142 rhythm.vf, 150 shock.given, 270 rhythm.asystole, " +
			"280 shock.given", false},
		{"child", "no shock", "14 compressions.start", false}, // it never came to that
		{"unstable-vt", "no unsynchronised", "10 rhythm.vt, 15 patient.unstable, 40 cardioversion.given, 60 pulse.lost, " +
			"62 compressions.start, 70 rhythm.vf, 75 shock.given", true},
		{"unstable-vt", "no unsynchronised", "10 rhythm.vt, 15 patient.unstable, 40 shock.given", false},
		{"unstable-vt", "no unsynchronised", "540 note", false}, // a note to coxswain is nothing done
		{"unstable-vt", "no contradiction", "540 note", false},
	} {
		f := points(t, load(t, c.id).Score(p, called(t, p, c.events)), c.reason)
		if (f.Points == f.Of) != c.earned || f.Points != 0 && f.Points != f.Of {
			t.Errorf("%s, %s: %+v", c.id, c.events, f)
		}
	}
}

// A shock that is told twice is one: the moment behind the second never came.
func TestToldTwiceIsOne(t *testing.T) {
	p := protocol(t, "aha-2025")
	events := called(t, p, "14 compressions.start, 20 rhythm.vf, 30 shock.given, 34 shock.given, 36 compressions.start, "+
		"60 drug.epinephrine")
	if f := points(t, load(t, "shockable").Score(p, events), "epinephrine after"); f.Points != 0 || f.Of != 0 {
		t.Errorf("%+v", f)
	}
}

// A case asks for epinephrine after the shock that the protocol names: AHA
// after the second, ERC after the third (sources at the protocols' values).
func TestAnyProtocol(t *testing.T) {
	c := load(t, "shockable")
	events := `14 compressions.start, 24 rhythm.vf, 28 shock.given, 30 compressions.start, 143 rhythm.vf,
		146 shock.given, 148 compressions.start,
		266 rhythm.vf, 268 shock.given, 270 compressions.start, 280 drug.epinephrine`
	early := called(t, protocol(t, "erc-2025"), "14 compressions.start, 24 rhythm.vf, 28 shock.given, 30 compressions.start, 150 rosc")
	if f := points(t, c.Score(protocol(t, "erc-2025"), early), "epinephrine after"); f.Of != 0 {
		t.Errorf("the pulse was back before the third shock: %+v", f)
	}
	for id, earned := range map[string]bool{"aha-2025": false, "aha-2020": false, "erc-2025": true, "erc-2021": true} {
		p := protocol(t, id)
		if f := points(t, c.Score(p, called(t, p, events)), "epinephrine after"); (f.Points > 0) != earned ||
			f.Source != p.Values["epinephrine_after_shock"].Source {
			t.Errorf("%s: %+v", id, f)
		}
	}
}

// A vector change is looked for where the protocol has one (ERC 2025 ALS: after
// three failed shocks), and not where it has none (AHA 2025: not established).
func TestVectorChangeByProtocol(t *testing.T) {
	c := load(t, "refractory")
	events := `10 rhythm.vf, 14 shock.given, 16 compressions.start, 136 rhythm.check, 138 rhythm.vf, 140 shock.given, 142 compressions.start,
		262 rhythm.check, 264 rhythm.vf, 266 shock.given, 268 compressions.start, 390 rhythm.check, 392 rhythm.vf, 393 intervention.vector`
	erc, aha := protocol(t, "erc-2025"), protocol(t, "aha-2025")
	if f := points(t, c.Score(erc, called(t, erc, events)), "pads"); f.Points != f.Of || f.Of == 0 {
		t.Errorf("erc-2025: %+v", f)
	}
	if f := points(t, c.Score(aha, called(t, aha, events)), "pads"); f.Of != 0 {
		t.Errorf("aha-2025: %+v", f)
	}
}

// A case that cannot be run is refused with file, line and what to write.
func TestRefused(t *testing.T) {
	const good = "title: x\nminutes: 5\ntell:\n  - {delay_s: 1, say: Hello.}\nlook:\n" +
		"  - {do: [shock.given], points: 1, reason: r, source: s}\n"
	if _, err := Parse("own.yaml", []byte(good)); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ from, to, want string }{
		{"title: x\n", "", "own.yaml:1: no title"},
		{"minutes: 5", "minutes: .nan", "own.yaml:1: minutes"},
		{"minutes: 5", "minutes: 61", "1 to 60"},
		{"title: x", "title: x\nprotocol: none", "choose one of aha-2020"},
		{"delay_s: 1, say: Hello.", "delay_s: 1", "own.yaml:4: tell, number 1: say"},
		{"delay_s: 1", "delay_s: -1", "own.yaml:4: tell, number 1: delay_s"},
		{"delay_s: 1", "after: [shock]", `own.yaml:4: tell, number 1: after: unknown callout "shock": see coxswain callouts`},
		{"delay_s: 1", "nth: 2", "nth needs after"},
		{"delay_s: 1", "after: [rosc], nth_of: cycle_s", "nth_of is for look"},
		{"do: [shock.given]", "do: [shock.given], avoid: [rosc]", "own.yaml:6: look, number 1: want one of do and avoid"},
		{"do: [shock.given]", "do: [shock]", `unknown callout "shock"`},
		{"do: [shock.given]", "avoid: [shock.given], when: [asleep]",
			`when: unknown state "asleep": choose of arrest, compressing, hands off, not compressing, pulse`},
		{"do: [shock.given]", "after: [shock.given], nth_of: shocks, do: [rosc]", "nth_of"},
		{"points: 1", "points: 0", "points: want 1 to 100"},
		{", source: s", "", "reason and source"},
		{"points: 1", "point: 1", `own.yaml:6: unknown key "point"`},
	} {
		text := strings.Replace(good, c.from, c.to, 1)
		_, err := Parse("own.yaml", []byte(text))
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q instead of %q: %v, want %q", c.to, c.from, err, c.want)
		}
	}
}

// A pause of minutes costs all points, however few pauses there are; a team that
// never compresses earns none; without an arrest there is nothing to judge.
func TestPausesCost(t *testing.T) {
	p := protocol(t, "aha-2025")
	for _, c := range []struct {
		events     string
		points, of int
	}{
		{"14 compressions.start, 60 rhythm.check, 72 compressions.start, 100 compressor.change", 4, 5},
		{"14 compressions.start, 60 rhythm.check, 72 compressions.start, 100 rhythm.check, 121 compressions.start, 125 compressor.change", 2, 5},
		{"14 compressions.start, 60 rhythm.check, 200 rhythm.vf", 0, 5},
		{"5 code.start, 60 rhythm.vf, 70 shock.given", 0, 5},
		{"5 pulse.present, 10 rhythm.svt, 12 patient.stable", 0, 0},
	} {
		f := points(t, load(t, "shockable").Score(p, called(t, p, c.events)), "no pause")
		if f.Points != c.points || f.Of != c.of {
			t.Errorf("%s: %+v", c.events, f)
		}
	}
	reminded := load(t, "unstable-vt").Score(p, called(t, p,
		"10 rhythm.vt, 12 patient.unstable, 20 cardioversion.given, 30 pulse.lost, 32 compressions.start, 35 rhythm.vf, 38 shock.given"))
	if f := points(t, reminded, "no contradiction"); f.Points != f.Of {
		t.Errorf("a reminder counts as a contradiction: %+v", f)
	}
}

// A rhythm check that was added for an earlier moment makes the pause that it
// began, in the score as in the figures: 18 s.
func TestScoreFollowsTheOrderOfTime(t *testing.T) {
	c, p := load(t, "shockable"), protocol(t, "aha-2025")
	var events []timeline.Event
	for i, x := range []struct {
		at   float64
		kind timeline.Kind
	}{{0, timeline.CodeStart}, {5, timeline.CompressionsStart}, {78, timeline.CompressionsStart}, {90, timeline.CompressorChange},
		{60, timeline.RhythmCheck}} {
		events = append(events, timeline.Event{Seq: uint64(i + 1), At: timeline.Seconds(x.at), Kind: x.kind})
	}
	for _, f := range c.Score(p, events) {
		if strings.HasPrefix(f.Reason, "no pause") && (f.Points != 4 || f.Found != "1 longer, the longest 18 s") {
			t.Errorf("%+v", f)
		}
	}
}

func FuzzCase(f *testing.F) {
	b, _ := cases.ReadFile("cases/pea.yaml")
	f.Add(b)
	f.Add([]byte("title: x\nprotocol: y\nminutes: .nan\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := Parse("case.yaml", b)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("more than one line: %q", err)
			}
			return
		}
		c.Told([]timeline.Event{{Seq: 1, Kind: timeline.RhythmCheck, At: 5}}, timeline.Seconds(10))
	})
}

// A second synchronised shock is for a patient who still has the pulse: once it is
// lost the criterion does not apply, and with it it does.
func TestSecondCardioversionNeedsAPulse(t *testing.T) {
	p := protocol(t, "aha-2025")
	find := func(text string) (f Finding) {
		for _, f = range load(t, "unstable-vt").Score(p, called(t, p, text)) {
			if strings.HasPrefix(f.Reason, "a second synchronised") {
				return f
			}
		}
		t.Fatal("no such criterion")
		return f
	}
	begin := "0:10 rhythm.vt,0:14 patient.unstable,0:30 cardioversion.given energy_j=100,"
	for more, want := range map[string][2]int{
		"0:40 pulse.lost,0:45 compressions.start,0:50 shock.given energy_j=200": {0, 0},
		"0:50 cardioversion.given energy_j=150,0:55 pulse.lost":                 {2, 2},
		"0:50 rhythm.vt,1:50 note":                                              {0, 2},
	} {
		if f := find(begin + more); f.Points != want[0] || f.Of != want[1] {
			t.Errorf("%s: %+v, want %v", more, f, want)
		}
	}
}

// Who calls no pause earns nothing for having had none above the limit: nobody can shock
// with hands on (Cheskes, Circulation 2011;124:58), so how long they were is unknown, and
// the line says so. Who calls half of them can earn half.
func TestPausesThatNobodyCalledEarnNothing(t *testing.T) {
	c, p := load(t, "shockable"), protocol(t, "aha-2025")
	const none = `3 compressions.start, 10 rhythm.vf, 15 shock.given, 17 compressions.start, 137 rhythm.vf,
		140 shock.given, 142 compressions.start, 180 rosc`
	const half = `3 compressions.start, 10 rhythm.vf, 15 shock.given, 17 compressions.start, 136 compressions.stop,
		137 rhythm.vf, 140 shock.given, 142 compressions.start, 180 rosc`
	for _, run := range []struct {
		script string
		points int
		found  string
	}{{none, 0, "2 of 2 pauses were not called"}, {half, 2, "at most 2 of 5 points"}} {
		f := points(t, c.Score(p, called(t, p, run.script)), "no pause in compressions")
		if f.Points != run.points || f.Of != 5 || !strings.Contains(f.Found, run.found) || !strings.Contains(f.Better, "Call each pause") {
			t.Errorf("%+v", f)
		}
	}
}

package drill

import (
	"strings"
	"testing"

	"coxswain/timeline"
)

// Every case loads, its protocol exists, and it tells, ends and scores by the
// timeline alone.
func TestCases(t *testing.T) {
	if len(IDs()) < 6 {
		t.Fatalf("cases: %v", IDs())
	}
	for _, id := range IDs() {
		c, err := Load(id)
		if err != nil {
			t.Fatal(err)
		}
		p, err := timeline.LoadProtocol(c.Protocol)
		if err != nil {
			t.Fatal(err)
		}
		told, over := c.Told(nil, timeline.Seconds(7))
		if len(told) == 0 || over {
			t.Errorf("%s: tells %v at its start, over: %v", id, told, over)
		}
		if _, over := c.Told(nil, timeline.Seconds(60*c.Minutes+1)); !over {
			t.Errorf("%s: never ends", id)
		}
		earned := 0
		for _, f := range c.Score(p, nil) {
			if f.Source == "" || f.Reason == "" {
				t.Errorf("%s: %+v lacks reason or source", id, f)
			}
			if strings.Contains(f.Reason, "compressions at once") {
				earned += f.Points
			}
		}
		if earned > 0 {
			t.Errorf("%s: points for compressions that were never called", id)
		}
	}
}

// A good and a poor run of one case: the points lost name their reason.
func TestScore(t *testing.T) {
	c, err := Load("shockable")
	if err != nil {
		t.Fatal(err)
	}
	p, err := timeline.LoadProtocol(c.Protocol)
	if err != nil {
		t.Fatal(err)
	}
	run := func(list ...any) (got, of int, text string) {
		m := timeline.NewMachine(p)
		var all []timeline.Event
		for i := 0; i < len(list); i += 2 {
			at := timeline.Seconds(float64(list[i].(int)))
			e := timeline.Event{Seq: uint64(len(all) + 1), At: at, Kind: list[i+1].(timeline.Kind)}
			all = append(all, e)
			for _, more := range m.Step(e, at).Events {
				more.Seq = uint64(len(all) + 1)
				all = append(all, more)
			}
		}
		for _, f := range c.Score(p, all) {
			got, of = got+f.Points, of+f.Of
			if f.Points < f.Of {
				text += f.Reason + "; "
			}
		}
		return
	}
	epi := timeline.Kind("drug.epinephrine")
	got, of, text := run(14, timeline.CompressionsStart, 20, timeline.RhythmCheck, 24, timeline.RhythmVF, 28, timeline.ShockGiven, 30, timeline.CompressionsStart, 140, timeline.RhythmCheck, 143, timeline.RhythmVF, 146, timeline.ShockGiven,
		148, timeline.CompressionsStart, 160, epi, 268, timeline.RhythmCheck, 271, timeline.RhythmOrganised, 275, timeline.ROSC, 290, timeline.Kind("intervention.ecg"))
	if got != of {
		t.Errorf("a good run: %d of %d: %s", got, of, text)
	}
	got, of, text = run(45, timeline.CompressionsStart, 50, timeline.RhythmCheck, 52, timeline.RhythmVF, 100, timeline.ShockGiven, 130, timeline.CompressionsStart, 131, epi, 150, epi)
	if got >= of/2 || !strings.Contains(text, "compressions at once;") || !strings.Contains(text, "no pause") || !strings.Contains(text, "contradiction") {
		t.Errorf("a poor run: %d of %d: %s", got, of, text)
	}
}

// A rhythm check that was added for an earlier moment makes the pause that it
// began, in the score as in the figures: 18 s.
func TestScoreFollowsTheOrderOfTime(t *testing.T) {
	c, err := Load("shockable")
	if err != nil {
		t.Fatal(err)
	}
	p, err := timeline.LoadProtocol(c.Protocol)
	if err != nil {
		t.Fatal(err)
	}
	var events []timeline.Event
	for i, x := range []struct {
		at   float64
		kind timeline.Kind
	}{{0, timeline.CodeStart}, {5, timeline.CompressionsStart}, {78, timeline.CompressionsStart}, {90, timeline.CompressorChange}, {60, timeline.RhythmCheck}} {
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

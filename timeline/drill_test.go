package timeline

import (
	"strings"
	"testing"
)

// Every case loads, its protocol exists, and it tells, ends and scores by the
// timeline alone.
func TestCases(t *testing.T) {
	if len(Cases()) < 6 {
		t.Fatalf("cases: %v", Cases())
	}
	for _, id := range Cases() {
		c, err := LoadCase(id)
		if err != nil {
			t.Fatal(err)
		}
		p, err := LoadProtocol(c.Protocol)
		if err != nil {
			t.Fatal(err)
		}
		told, over := c.Told(nil, Seconds(7))
		if len(told) == 0 || over {
			t.Errorf("%s: tells %v at its start, over: %v", id, told, over)
		}
		if _, over := c.Told(nil, Seconds(60*c.Minutes+1)); !over {
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
	c, err := LoadCase("shockable")
	if err != nil {
		t.Fatal(err)
	}
	p, err := LoadProtocol(c.Protocol)
	if err != nil {
		t.Fatal(err)
	}
	run := func(list ...any) (got, of int, text string) {
		m := NewMachine(p)
		var all []Event
		for i := 0; i < len(list); i += 2 {
			at := Seconds(float64(list[i].(int)))
			e := Event{Seq: uint64(len(all) + 1), At: at, Kind: list[i+1].(Kind)}
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
	epi := Kind("drug.epinephrine")
	got, of, text := run(14, CompressionsStart, 20, RhythmCheck, 24, RhythmVF, 28, ShockGiven, 30, CompressionsStart, 140, RhythmCheck, 143, RhythmVF, 146, ShockGiven,
		148, CompressionsStart, 160, epi, 268, RhythmCheck, 271, RhythmOrganised, 275, ROSC, 290, Kind("intervention.ecg"))
	if got != of {
		t.Errorf("a good run: %d of %d: %s", got, of, text)
	}
	got, of, text = run(45, CompressionsStart, 50, RhythmCheck, 52, RhythmVF, 100, ShockGiven, 130, CompressionsStart, 131, epi, 150, epi)
	if got >= of/2 || !strings.Contains(text, "compressions at once;") || !strings.Contains(text, "no pause") || !strings.Contains(text, "contradiction") {
		t.Errorf("a poor run: %d of %d: %s", got, of, text)
	}
}

func FuzzCase(f *testing.F) {
	b, _ := cases.ReadFile("cases/pea.yaml")
	f.Add(b)
	f.Add([]byte("title: x\nprotocol: y\nminutes: .nan\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := ParseCase("case.yaml", b)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("more than one line: %q", err)
			}
			return
		}
		c.Told([]Event{{Seq: 1, Kind: RhythmCheck, At: 5}}, Seconds(10))
	})
}

package timeline

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// doseOf names the drug of a cue that tells its next dose.
func doseOf(c Cue) string {
	switch head, tail, _ := strings.Cut(c.ID, "."); head {
	case "dose":
		return strings.Join(c.Items, "")
	case "epinephrine", "magnesium":
		return head
	case "antiarrhythmic":
		return tail
	case "peri":
		if tail == "amiodarone" {
			return "amiodarone_infusion"
		}
		drug, _, _ := strings.Cut(tail, ".")
		return drug
	}
	return ""
}

// nextIsNew holds the state of the next patient, begun by e, to know nothing of the one before.
func nextIsNew(t *testing.T, was, got State, e Event) {
	t.Helper()
	if was.Ended == Never || got.Ended != Never || e.Replaces != 0 || !e.Kind.Row().Starts || was.Reopens(e) {
		return
	}
	only := Fold([]Event{e})
	only.EndedBy, only.ClearAt, only.begun = got.EndedBy, got.ClearAt, got.begun
	if fmt.Sprint(only) != fmt.Sprint(got) {
		t.Fatalf("the next case begins with %+v", got)
	}
}

// safe holds a cue, spoken in state s, to what must never be spoken.
func safe(t *testing.T, p *Protocol, s State, c Cue) {
	t.Helper()
	form := p.For(s)
	kg, _ := form.Weight(s)
	for _, part := range append([]Cue{c}, c.Parts...) {
		mg, told := part.Values["dose_mg"]
		if drug := doseOf(c); told && drug != "" && part.ID != "question.drug.amount" && part.ID != "dose.spent.total" {
			if most, ok := form.Most(drug, kg); !ok || mg > most*1.001 {
				t.Fatalf("%s: %v mg, the most is %v at %v kg", c.Describe(), mg, most, kg)
			}
		}
	}
	j, told := c.Values["energy_j"]
	if told && !strings.HasPrefix(c.ID, "said.") && (j > maxJoules || j <= 0) {
		t.Fatalf("%s: no device gives that", c.Describe())
	}
	if most, byWeight := form.MostEnergy(s); byWeight && strings.HasPrefix(c.ID, "peri.") && j > most*1.001 {
		t.Fatalf("%s: the most is %v at %v kg", c.Describe(), most, kg)
	}
	for _, x := range append([]Cue{c}, c.Parts...) {
		for slot, v := range x.Values {
			if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
				t.Fatalf("%s: %s is %v", c.Describe(), slot, v)
			}
		}
	}
	if s.Ended != Never && c.Seq == 0 {
		t.Fatalf("%s: said by the clock after the case has ended", c.Describe())
	}
}

func everyProtocol(t *testing.T) (all []*Protocol) {
	t.Helper()
	for _, id := range Protocols() {
		p, err := LoadProtocol(id)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
	return all
}

// Over 10,000 random orders of callouts no beat sounds between "everybody
// clear" and the shock or 10 s, nothing of a closed case is ever spoken, and
// every dose spoken is within its cap.
func TestSafeInAnyOrder(t *testing.T) {
	all := everyProtocol(t)
	r := rand.New(rand.NewPCG(4, 14))
	for n := range 10000 {
		p := all[n%len(all)]
		m := NewMachine(p)
		var seq uint64
		now, clear := Time(0), Never
		var step func(e Event)
		step = func(e Event) {
			seq++
			e.Seq = seq
			was := m.State()
			ready := m.Step(e, now)
			switch {
			case e.Kind == Retraction || e.Replaces != 0 || e.Kind == ShockGiven || e.Kind == ShockStacked ||
				e.Kind == CardioversionDone || e.Kind == ShockDumped || ready.Ended:
				clear = Never
			case e.Kind == ShockClear:
				clear = now
			}
			if ready.Ended && len(ready.Cues) != 1 {
				t.Fatalf("%v after the end", ready.Cues)
			}
			nextIsNew(t, was, m.State(), e)
			for _, more := range ready.Events {
				step(more)
			}
			for _, c := range ready.Cues {
				safe(t, p, m.State(), c)
			}
		}
		for range 20 {
			next := now + Time(r.IntN(12*Rate))
			for ; now < next; now += Rate {
				if clear != Never && now < clear+Seconds(10) && m.State().Metronome(now) {
					t.Fatalf("order %d: a beat at %s, clear since %s", n, now, clear)
				}
				for _, c := range m.Tick(now) {
					safe(t, p, m.State(), c)
				}
			}
			if r.IntN(15) == 0 { // cut off, and resumed
				was := m.State()
				m = NewMachine(p, m.events...)
				if fmt.Sprint(m.State()) != fmt.Sprint(was) {
					t.Fatalf("order %d: resumed as another state", n)
				}
			}
			kind, values := anything(r)
			step(Event{At: now, Kind: kind, Values: values})
		}
	}
}

// often is what matters most: it comes often, and anything may come in between.
var often = []Kind{CodeStart, CompressionsStart, RhythmVF, RhythmPEA, ShockClear, ShockClear, ShockGiven, MetronomeOn,
	PulseAbsent, PulsePresent, CodeEnd, Confirm, Confirm, PatientChild, PatientWeight, "measured.temperature", ShockStacked,
	ShockCharging, CardioversionDone, PatientUnstable, PatientPregnant, RhythmVT, "rhythm.bradycardia", "rhythm.torsades",
	"ask.dose.shock", AskNext, "ask.dose.epinephrine", "ask.dose.amiodarone", AskSummary, SayAgain, Undo}

// anything is some callout, with numbers that can be absurd.
func anything(r *rand.Rand) (Kind, map[string]float64) {
	kind := often[r.IntN(len(often))]
	if r.IntN(3) == 0 {
		kind = Callouts[r.IntN(len(Callouts))]
	}
	if f, _ := kind.Family(); f == "measured." {
		return kind, map[string]float64{"x": float64(r.IntN(400)) / 10}
	}
	weights := []float64{0.5, 2, 3 + float64(r.IntN(100)), 300}
	return kind, map[string]float64{"dose_mg": float64(r.IntN(400)) / 10, "energy_j": float64(r.IntN(400)),
		"weight_kg": weights[r.IntN(len(weights))], "age_y": float64(r.IntN(90)), "minutes": float64(1 + r.IntN(3))}
}

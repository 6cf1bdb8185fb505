package timeline

import (
	"math"
	"testing"
)

// Doses and energies from published tables, computed for a patient. "A20" is
// AHA 2020 (Circulation 2020;142(S2)), "E21" ERC 2021 (Resuscitation 161),
// seen in secondary reproductions unless marked (memory).
var publishedDoses = []struct {
	protocol, patient, drug string
	given                   int
	kg, want, ml            float64
	source                  string
}{
	{"aha-2020", "", "epinephrine", 0, 0, 1, 10, "A20 adult cardiac arrest algorithm: 1 mg"},
	{"aha-2020", "", "epinephrine", 7, 0, 1, 10, "A20 adult cardiac arrest algorithm: 1 mg each time"},
	{"aha-2020", "", "amiodarone", 0, 0, 300, 6, "A20 adult cardiac arrest algorithm: first dose 300 mg"},
	{"aha-2020", "", "amiodarone", 1, 0, 150, 3, "A20 adult cardiac arrest algorithm: second dose 150 mg"},
	{"aha-2020", "", "lidocaine", 0, 80, 80, 4, "A20: 1 to 1.5 mg/kg, 80 kg: 80 to 120 mg"},
	{"aha-2020", "", "lidocaine", 1, 80, 40, 2, "A20: then 0.5 to 0.75 mg/kg, 80 kg: 40 to 60 mg"},
	{"aha-2020", "", "atropine", 0, 0, 1, 0, "A20 adult bradycardia algorithm: 1 mg"},
	{"aha-2020", "", "adenosine", 0, 0, 6, 0, "AHA adult tachycardia algorithm: 6 mg"},
	{"aha-2020", "", "adenosine", 1, 0, 12, 0, "AHA adult tachycardia algorithm: then 12 mg"},
	{"aha-2020", "", "magnesium", 0, 0, 2000, 0, "A20: 1 to 2 g for torsades (memory)"},
	{"aha-2020", "", "amiodarone_infusion", 0, 0, 150, 0, "AHA tachycardia algorithm: 150 mg over 10 min"},
	{"aha-2020", "child", "epinephrine", 0, 20, 0.2, 2, "A20 Part 4: 0.01 mg/kg = 0.1 mL/kg of 0.1 mg/mL, 20 kg: 0.2 mg = 2 mL"},
	{"aha-2020", "child", "amiodarone", 0, 20, 100, 2, "A20 Part 4: 5 mg/kg, 20 kg: 100 mg"},
	{"aha-2020", "child", "amiodarone", 2, 20, 100, 2, "A20 Part 4: up to 3 doses"},
	{"aha-2020", "child", "lidocaine", 0, 20, 20, 1, "AHA 2015 pediatric: 1 mg/kg, 20 kg: 20 mg"},
	{"aha-2020", "child", "epinephrine", 0, 70, 0.7, 7, "A20 Part 4, 70 kg: 0.7 mg"},
	{"aha-2020", "child", "epinephrine", 0, 110, 1, 10, "A20 Part 4: maximum 1 mg, 110 kg: 1.1 capped to 1 mg"},
	{"aha-2020", "child", "amiodarone", 0, 70, 300, 6, "A20 Part 4: single maximum 300 mg, 70 kg: 350 capped"},
	{"aha-2020", "child", "adenosine", 0, 70, 6, 0, "A20 Part 4: 0.1 mg/kg, maximum 6 mg, 70 kg: 7 capped"},
	{"aha-2020", "child", "adenosine", 1, 70, 12, 0, "A20 Part 4: 0.2 mg/kg, maximum 12 mg, 70 kg: 14 capped"},
	{"aha-2020", "infant", "atropine", 0, 4, 0.1, 0, "A15/A20 cards: 0.02 mg/kg, minimum 0.1 mg, 4 kg: 0.08 raised"},
	{"aha-2020", "child", "atropine", 0, 40, 0.5, 0, "A15/A20 cards: maximum single dose 0.5 mg, 40 kg: 0.8 capped"},
	{"aha-2020", "child", "magnesium", 0, 20, 500, 0, "AHA ECC Handbook 2015: 25 to 50 mg/kg"},
	{"aha-2020", "child", "magnesium", 0, 100, 2000, 0, "AHA ECC Handbook 2015: maximum 2 g"},
	{"aha-2020", "child", "naloxone", 0, 10, 1, 0, "AHA ECC Handbook 2015: 0.1 mg/kg"},
	{"aha-2020", "child", "naloxone", 0, 30, 2, 0, "AHA ECC Handbook 2015: maximum 2 mg"},
	{"erc-2021", "", "epinephrine", 0, 0, 1, 10, "E21 ALS: 1 mg"},
	{"erc-2021", "", "amiodarone", 0, 0, 300, 6, "Resuscitation Council UK 2021: 300 mg after 3 shocks"},
	{"erc-2021", "", "amiodarone", 1, 0, 150, 3, "Resuscitation Council UK 2021: 150 mg after 5 shocks"},
	{"erc-2021", "", "lidocaine", 0, 0, 100, 5, "E21 ALS: 100 mg (memory)"},
	{"erc-2021", "", "lidocaine", 1, 0, 50, 2.5, "E21 ALS: then 50 mg (memory)"},
	{"erc-2021", "", "atropine", 0, 0, 0.5, 0, "E21 bradycardia: 0.5 mg (memory)"},
	{"erc-2021", "", "adenosine", 2, 0, 18, 0, "E21 tachycardia: 6, 12, 18 mg (memory)"},
	{"erc-2021", "child", "epinephrine", 0, 20, 0.2, 2, "E21 PLS: 10 microgram/kg, 20 kg: 200 microgram"},
	{"erc-2021", "child", "amiodarone", 1, 50, 150, 3, "E21 PLS: second dose capped at 150 mg (memory)"},
	{"aha-2020", "", "shock", 0, 0, 200, 0, "A20 shock energy box: biphasic 120 to 200 J"},
	{"aha-2020", "child", "shock", 0, 20, 40, 0, "A20 Part 4: first 2 J/kg, 20 kg: 40 J"},
	{"aha-2020", "child", "shock", 1, 20, 80, 0, "A20 Part 4: second 4 J/kg, 20 kg: 80 J"},
	{"aha-2020", "child", "shock", 0, 70, 140, 0, "A20 Part 4: first 2 J/kg, 70 kg: 140 J"},
	{"erc-2021", "", "shock", 0, 0, 150, 0, "Resuscitation Council UK 2021: at least 150 J biphasic"},
	{"erc-2021", "child", "shock", 0, 20, 80, 0, "E21 PLS: 4 J/kg every shock, 20 kg: 80 J"},
	{"erc-2021", "child", "shock", 4, 20, 80, 0, "E21 PLS: 4 J/kg, shocks 1 to 5"},
	{"erc-2021", "child", "shock", 5, 20, 160, 0, "E21 PLS: from the sixth up to 8 J/kg, 20 kg: 160 J"},
	{"aha-2020", "", "sync VT", 0, 0, 100, 0, "AHA 2015 tachycardia algorithm: wide regular 100 J"},
	{"aha-2020", "", "sync SVT", 0, 0, 50, 0, "AHA 2015 tachycardia algorithm: narrow regular 50 to 100 J"},
	{"aha-2020", "", "sync AF", 0, 0, 120, 0, "AHA 2015 tachycardia algorithm: narrow irregular 120 to 200 J biphasic"},
	{"aha-2020", "child", "sync SVT", 0, 20, 20, 0, "A20 pediatric tachycardia: 0.5 to 1 J/kg, 20 kg: 10 to 20 J"},
	{"aha-2020", "child", "sync SVT", 1, 20, 40, 0, "A20 pediatric tachycardia: then 2 J/kg, 20 kg: 40 J"},
	{"erc-2021", "", "sync VT", 0, 0, 120, 0, "E21 ALS: 120 to 150 J (memory)"},
	{"erc-2021", "", "sync SVT", 0, 0, 70, 0, "E21 ALS: 70 to 120 J (memory)"},
}

func TestPublishedDoses(t *testing.T) {
	for _, c := range publishedDoses {
		p, err := LoadProtocol(c.protocol)
		if err != nil {
			t.Fatal(err)
		}
		s := newState()
		s.Patient = c.patient
		q := p.For(s)
		got, ok := q.Dose(c.drug, c.given, c.kg)
		switch {
		case c.drug == "shock":
			got, ok = q.Energy(c.given, c.kg)
		case len(c.drug) > 5 && c.drug[:5] == "sync ":
			got, ok = q.SyncEnergy(Rhythm(c.drug[5:]), c.given, c.kg)
		}
		if !ok || math.Abs(got.Value-c.want) > 1e-9 || math.Abs(got.Ml-c.ml) > 1e-9 {
			t.Errorf("%s %s %s %d at %v kg: %v mg or J, %v mL, want %v, %v: %s", c.protocol, c.patient, c.drug, c.given, c.kg, got.Value,
				got.Ml, c.want, c.ml, c.source)
		}
	}
}

// Limits in all: three 1 mg doses of atropine reach 3 mg (A20); lidocaine 3
// mg/kg, 80 kg: 240 mg (A20 with AHA ECC Handbook, memory); a child's
// amiodarone 15 mg/kg, 20 kg: 300 mg (A20 Part 4).
func TestPublishedTotals(t *testing.T) {
	p, err := LoadProtocol("aha-2020")
	if err != nil {
		t.Fatal(err)
	}
	child := newState()
	child.Patient = "child"
	for _, c := range []struct {
		d        Drug
		kg, want float64
	}{{p.Drugs["atropine"], 0, 3}, {p.Drugs["lidocaine"], 80, 240}, {p.For(child).Drugs["amiodarone"], 20, 300}} {
		if got := c.d.TotalCap(c.kg); got != c.want {
			t.Errorf("limit in all %v, want %v", got, c.want)
		}
	}
}

// Monophasic: 360 J, all shocks (AHA 2020 shock energy box); a child's energies
// go by weight with either.
func TestMonophasic(t *testing.T) {
	p, err := LoadProtocol("aha-2020")
	if err != nil {
		t.Fatal(err)
	}
	if err := p.SetWaveform("monophasic"); err != nil {
		t.Fatal(err)
	}
	child := newState()
	child.Patient = "child"
	for n := range 3 {
		if e, ok := p.For(newState()).Energy(n, 0); !ok || e.Value != 360 {
			t.Errorf("shock %d: %v J", n+1, e.Value)
		}
	}
	if e, ok := p.For(child).Energy(0, 20); !ok || e.Value != 40 {
		t.Errorf("child of 20 kg: %v J", e.Value)
	}
	if p.SetWaveform("square") == nil {
		t.Error("an unknown waveform is taken")
	}
}

// Weights from ages, each by its published formula (sources at weightRules).
func TestPublishedWeights(t *testing.T) {
	for _, c := range []struct {
		rule             string
		months, want     float64
		outsideItsBounds bool
	}{
		{"apls-old", 48, 16, false}, {"luscombe-owens", 48, 19, false}, {"apls-updated", 48, 16, false}, {"best-guess", 48, 18, false},
		{"apls-old", 120, 28, false}, {"luscombe-owens", 120, 37, false}, {"apls-updated", 120, 37, false}, {"best-guess", 120, 40, false},
		{"apls-updated", 6, 7, false}, {"best-guess", 6, 7.5, false}, {"best-guess", 59, 18, false}, {"best-guess", 60, 20, false},
		{"apls-old", 6, 0, true}, {"apls-updated", 13 * 12, 0, true}, {"luscombe-owens", 14 * 12, 0, true}, {"best-guess", 15 * 12, 0, true},
	} {
		kg, source, err := EstimateWeight(c.rule, c.months)
		if (err != nil) != c.outsideItsBounds || !c.outsideItsBounds && kg != c.want || source == "" {
			t.Errorf("%s at %v months: %v kg, %v, want %v", c.rule, c.months, kg, err, c.want)
		}
	}
}

// No order of callouts, with any amounts and weights, gives a computed dose
// above the adult's, or lets a dose beyond the protocol's limits or intervals
// pass without a question.
func FuzzDoses(f *testing.F) {
	f.Add(uint8(0), 20.0, 0.4, 30.0)
	f.Add(uint8(1), 250.0, 900.0, 200.0)
	f.Add(uint8(2), 0.5, 0.001, 1.0)
	drugs := []string{"epinephrine", "amiodarone", "lidocaine", "atropine", "adenosine", "magnesium", "naloxone"}
	f.Fuzz(func(t *testing.T, which uint8, kg, mg, gap float64) {
		if !(kg > 0 && kg <= 250 && mg > 0 && mg < 1e5 && gap >= 0 && gap < 1e4) {
			t.Skip()
		}
		for _, id := range Protocols() {
			p, err := LoadProtocol(id)
			if err != nil {
				t.Fatal(err)
			}
			drug := drugs[int(which)%len(drugs)]
			m := NewMachine(p)
			seq, now := uint64(0), Time(0)
			step := func(k Kind, v map[string]float64) Ready {
				seq++
				return m.Step(Event{Seq: seq, At: now, Kind: k, Values: v}, now)
			}
			if which%2 == 0 {
				step(PatientChild, nil)
			}
			step(PatientWeight, map[string]float64{"weight_kg": kg})
			form := p.For(m.State())
			if dose, ok := form.Dose(drug, 0, kg); ok {
				if most, _ := form.Most(drug, kg); dose.Value > most {
					t.Errorf("%s: computed %v, most is %v", drug, dose.Value, most)
				}
			}
			for n := range 4 {
				before := m.State().Total(drug)
				r := step(Kind("drug."+drug), map[string]float64{"dose_mg": mg})
				most, known := form.Most(drug, kg)
				d := form.Drugs[drug]
				limit := d.TotalCap(kg)
				tooMuch := known && mg > most*1.01 || limit > 0 && before+mg > limit*1.01 || d.MaxDoses > 0 && n >= d.MaxDoses
				tooSoon := drug == "epinephrine" && n > 0 && Seconds(gap) < form.Span("epinephrine_due_s")
				if (tooMuch || tooSoon) && len(r.Events) == 0 {
					t.Errorf("%s %v mg, number %d, %v kg, %v s apart: no question", drug, mg, n+1, kg, gap)
				}
				now += Seconds(gap)
			}
		}
	})
}

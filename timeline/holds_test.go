package timeline

import "testing"

func TestHolds(t *testing.T) {
	s := stageOf(t, "aha-2020")
	m, call := s.m, func(at float64, k Kind) []Cue { return s.call(at, k, nil) }
	call(0, CodeStart)
	call(1, CompressionsStart)
	call(20, CompressionsStop)
	var handsOff []Cue
	for _, c := range m.Tick(Seconds(40)) {
		if c.Priority == HandsOff {
			handsOff = append(handsOff, c)
		}
	}
	if len(handsOff) == 0 {
		t.Fatal("nobody is told of hands-off time")
	}
	for _, c := range handsOff {
		if !m.Holds(c) {
			t.Errorf("%s does not hold, and nobody compresses", c.ID)
		}
	}
	call(41, CompressionsStart)
	for _, c := range handsOff {
		if m.Holds(c) {
			t.Errorf("%s holds, and somebody compresses", c.ID)
		}
	}
	call(44, CompressionsStop)
	again := m.Tick(Seconds(55))
	call(56, ShockGiven)
	for _, c := range again {
		if c.Priority == HandsOff && m.Holds(c) {
			t.Errorf("%s holds, and the shock's read-back has told to compress", c.ID)
		}
	}
	call(57, CompressionsStart)
	given := call(58, "drug.epinephrine")[0]
	if !m.Holds(given) {
		t.Error("the read-back of a drug does not hold")
	}
	s.step(Event{At: s.now, Kind: Retraction, Retracts: s.seq})
	if m.Holds(given) {
		t.Error("the read-back of a drug holds that was taken back")
	}
	if !m.Holds(Cue{ID: "fault.disk", At: Seconds(58), Priority: Alarm}) {
		t.Error("an alarm does not hold")
	}
}

// What waits, or was cut off, is said as it would be said now: nobody hears an adult's
// energy or dose once a child was called and weighed, nor a dose that was given since.
func TestFresh(t *testing.T) {
	s := stageOf(t, "aha-2025")
	m, step := s.m, s.call
	step(0, CodeStart, nil)
	step(1, CompressionsStart, nil)
	step(4, RhythmPEA, nil)
	energy := step(5, "ask.dose.shock", nil)[0]
	first := m.Tick(Seconds(8))[0]
	dose := step(9, "ask.dose.epinephrine", nil)[0]
	step(10, PatientChild, nil)
	step(11, PatientWeight, map[string]float64{"weight_kg": 10})
	for _, x := range []struct {
		cue  Cue
		want string
	}{
		{energy, "0:05.0 dose + dose.energy_j energy_j=20 + question.shock.rhythm"},
		{first, "0:07.0 epinephrine.first dose_mg=0.1"},
		{dose, "0:09.0 dose [epinephrine] + dose.dose_mg dose_mg=0.1 + dose.volume mg_per_ml=0.1 ml=1"},
	} {
		got, ok := m.Fresh(x.cue)
		if !ok || got.Describe() != x.want || got.Expires != x.cue.Expires {
			t.Errorf("%s became %s (%v), want %s", x.cue.Describe(), got.Describe(), ok, x.want)
		}
	}
	step(12, "drug.epinephrine", map[string]float64{"dose_mg": 0.1})
	if got, ok := m.Fresh(first); ok {
		t.Errorf("%s, and the dose was given", got.Describe())
	}
	if got, ok := m.Fresh(Cue{ID: "fault.disk", Priority: Alarm}); !ok || got.ID != "fault.disk" {
		t.Error("an alarm is none of the machine's")
	}
}

// An answer that was cut off is not said again once what it was asked for was done: nobody
// hears "Shock, two hundred joules" with hands back on the chest, nor a read-back of what
// was put right since.
func TestAnswerIsDone(t *testing.T) {
	for _, c := range []struct {
		ask, done Kind
		holds     bool
	}{
		{"ask.dose.shock", ShockGiven, false},
		{"ask.dose.shock", CardioversionDone, false},
		{"ask.dose.epinephrine", Epinephrine, false},
		{"ask.dose.epinephrine", "drug.amiodarone", true},
		{"ask.dose.shock", Epinephrine, true},
		{ShockGiven, CorrectEnergy, false},
		{CorrectEnergy, CorrectEnergy, false},
		{CorrectEnergy, Undo, false},
		{Epinephrine, Undo, false},
	} {
		on := stageOf(t, "aha-2025")
		m := on.m
		said := func(k Kind, joules float64) []Cue {
			return on.call(on.now.Seconds()+3, k, map[string]float64{"energy_j": joules})
		}
		for _, k := range []Kind{CompressionsStart, RhythmVF, ShockGiven, CompressionsStart} {
			said(k, 200)
		}
		on.now += 60 * Rate
		first := said(c.ask, 150)
		m.Spoken(first[0])
		said(c.done, 360)
		if got, ok := m.Fresh(first[0]); ok != c.holds {
			t.Errorf("%s, then %s: said again %v: %s", c.ask, c.done, ok, got.Describe())
		}
	}
}

// A read-back that waited asks about no pulse once that was lost, and "what is next" is
// answered with compressions before the read-backs that wait.
func TestQuestionsThatAreIdle(t *testing.T) {
	s := stageOf(t, "aha-2025")
	m, said := s.m, func(at float64, k Kind) []Cue { return s.call(at, k, map[string]float64{"dose_mg": 1}) }
	said(0, CompressionsStart)
	said(5, RhythmPEA)
	said(60, ROSC)
	given := said(120, Epinephrine)[0]
	if len(given.Parts) != 1 || given.Parts[0].ID != "question.drug.pulse" {
		t.Fatalf("%s: want the question about the pulse", given.Describe())
	}
	said(123, PulseLost)
	if now, ok := m.Fresh(given); !ok || len(now.Parts) != 0 {
		t.Errorf("%v %s: want the read-back alone", ok, now.Describe())
	}
	next := said(124, AskNext)[0]
	if next.ID != "next.compressions" || next.Priority != Urgent {
		t.Errorf("%s at %d", next.Describe(), next.Priority)
	}
	said(126, CompressionsStart)
	if now, ok := m.Fresh(next); ok && now.ID == "next.compressions" {
		t.Errorf("%s is said while somebody compresses", now.Describe())
	}
}

// Whose doses are meant is not asked any more once that was answered.
func TestWhoseIsIdle(t *testing.T) {
	s := stageOf(t, "aha-2025")
	m, said := s.m, func(at float64, k Kind) Cue { return s.call(at, k, nil)[0] }
	said(0, CompressionsStart)
	said(5, "drug.epinephrine")
	asked := said(10, PatientChild)
	if !m.Holds(asked) || asked.ID != whoQuestion {
		t.Errorf("%s: want it asked", asked.Describe())
	}
	if said(12, Confirm); !m.Holds(asked) {
		t.Errorf("%s: a yes does not answer it", asked.Describe())
	}
	if said(15, PatientChild); m.Holds(asked) {
		t.Errorf("%s: it was answered", asked.Describe())
	}
}

// What waited behind other read-backs is not said as if it were to be done now: no "clear" and
// no "charging" once the shock was given, and no "compress" to those who do.
func TestReadBacksThatWaitedAreNoOrders(t *testing.T) {
	s := stageOf(t, "aha-2025")
	m, call := s.m, func(k Kind) Cue { return s.call(s.now.Seconds()+1, k, nil)[0] }
	call(CodeStart)
	call(CompressionsStart)
	call(RhythmVF)
	charging, clear := call(ShockCharging), call(ShockClear)
	if _, ok := m.Fresh(clear); !ok {
		t.Error("clear holds until the shock")
	}
	shock := call(ShockGiven)
	for _, c := range []Cue{charging, clear} {
		if _, ok := m.Fresh(c); ok {
			t.Errorf("%s holds after the shock", c.ID)
		}
	}
	if c, ok := m.Fresh(shock); !ok || c.ID != "said.shock.given" {
		t.Errorf("before hands are on: %s, %v", c.ID, ok)
	}
	call(CompressionsStart)
	if c, ok := m.Fresh(shock); !ok || c.ID != "said.shock.given.logged" {
		t.Errorf("with hands on: %s, %v", c.ID, ok)
	}
}

// Whatever repeats is said also where nothing else is planned for long: the next drug, minutes
// away, keeps no cycle from ending.
func TestRepetitionsGoOn(t *testing.T) {
	s := stageOf(t, "aha-2025")
	for i, k := range []Kind{CodeStart, CompressionsStart, RhythmAsystole, Epinephrine} {
		s.call(float64(3*i), k, nil)
	}
	said := map[string]bool{}
	for now := Time(0); now < Seconds(170); now += Rate / 10 {
		for _, c := range s.m.Tick(now) {
			said[c.ID] = true
		}
	}
	if !said["silence"] || !said["cycle.over"] {
		t.Errorf("said by 2:50: %v", said)
	}
}

// A team that wants no questions still hears what was called: what a question names in place
// of the read-back is read back (closed loop: common practice, no source).
func TestUnasked(t *testing.T) {
	for _, c := range []struct {
		list []Event
		want string
	}{
		{[]Event{{Kind: "drug.epinephrine", Values: map[string]float64{"dose_mg": 10}}},
			"0:09.0 said.drug.epinephrine dose_mg=10"},
		{[]Event{{Kind: "rhythm.asystole"}, {Kind: "drug.amiodarone", Values: map[string]float64{"dose_mg": 81}}},
			"0:09.0 said.drug.amiodarone dose_mg=81"},
		{[]Event{{Kind: "drug.epinephrine", Values: map[string]float64{"dose_mg": 1}},
			{Kind: "correct.drug.dose", Values: map[string]float64{"dose_mg": 10}}},
			"0:09.0 corrected + said.drug.epinephrine dose_mg=10"},
		{[]Event{{Kind: "measured.temperature", Values: map[string]float64{"temperature_c": 9}}},
			"0:09.0 said.measured.temperature temperature_c=9"},
	} {
		var last []Cue
		s := stageOf(t, "aha-2025")
		list := append([]Event{{Kind: CodeStart}, {Kind: CompressionsStart}}, c.list...)
		for i, e := range list {
			last = s.call(9-float64(len(list)-1-i), e.Kind, e.Values)
		}
		if got, ok := last[0].Unasked(); !ok || got.Describe() != c.want {
			t.Errorf("%q, want %q", got.Describe(), c.want)
		}
	}
}

// Of pulse and hands the last word that is heard is the one that holds: a read-back that waited,
// or was cut off, is not said behind its opposite.
func TestOppositeHolds(t *testing.T) {
	for _, c := range [][2]Kind{{ROSC, PulseLost}, {PulsePresent, PulseAbsent}, {PulseAbsent, PulsePresent},
		{CompressionsStop, CompressionsStart}, {CompressionsStart, CompressionsStop}} {
		s := stageOf(t, "aha-2025")
		var first Cue
		for i, k := range []Kind{CodeStart, CompressionsStart, c[0], c[1]} {
			cues := s.call(float64(i), k, nil)
			if i == 2 {
				first = cues[0]
				if _, ok := s.m.Fresh(first); !ok {
					t.Errorf("%s does not hold when it is called", c[0])
				}
			}
		}
		if _, ok := s.m.Fresh(first); ok {
			t.Errorf("%s is said behind %s", c[0], c[1])
		}
	}
}

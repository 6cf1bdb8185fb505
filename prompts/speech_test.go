package prompts

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	"coxswain/audio"
	"coxswain/timeline"
)

// What teams call in the six invented cases of package drill when all goes
// well: seconds, callout, numbers.
var wellCalled = map[string]string{
	"shockable": `10 code.start; 14 compressions.start; 30 rhythm.check; 34 rhythm.vf; 36 shock.charging energy_j=200; 44 shock.clear;
		47 shock.given energy_j=200; 50 compressions.start; 70 access.iv; 165 rhythm.check; 169 rhythm.vf;
		171 shock.charging energy_j=200; 178 shock.clear;
		181 shock.given energy_j=200; 184 compressions.start; 200 drug.epinephrine dose_mg=1; 230 airway.secured;
		300 rhythm.check; 304 rhythm.organised;
		308 rosc; 350 intervention.ecg; 400 team.handover`,
	"pea": `10 code.start; 14 compressions.start; 40 rhythm.check; 44 rhythm.pea; 47 compressions.start; 60 access.io;
		75 drug.epinephrine dose_mg=1;
		100 fluid.bolus; 110 cause.treated.hypovolemia; 120 cause.excluded.tension_pneumothorax; 165 rhythm.check;
		169 rhythm.pea; 172 compressions.start;
		255 drug.epinephrine dose_mg=1; 290 rhythm.check; 294 rhythm.organised; 298 rosc; 340 intervention.ecg`,
	"child": `8 patient.child; 10 patient.weight weight_kg=20; 12 code.start; 15 compressions.start; 40 rhythm.check;
		44 rhythm.asystole; 47 compressions.start;
		55 access.io; 60 ask.dose.epinephrine; 80 drug.epinephrine dose_mg=0.2; 120 cause.treated.hypoxia; 165 rhythm.check; 169 rhythm.asystole;
		172 compressions.start; 262 drug.epinephrine dose_mg=0.2; 290 rhythm.check; 294 rhythm.organised; 297 pulse.present`,
	"rearrest": `10 airway.secured; 66 pulse.lost; 70 compressions.start; 85 rhythm.check; 88 rhythm.vf;
		90 shock.charging energy_j=200; 97 shock.clear;
		99 shock.given energy_j=200; 102 compressions.start; 215 rhythm.check; 218 rhythm.organised; 222 rosc; 280 intervention.ecg`,
	"unstable-vt": `10 rhythm.vt; 14 patient.unstable; 20 access.iv; 25 intervention.oxygen; 30 shock.charging energy_j=100; 40 shock.clear;
		43 cardioversion.given energy_j=100; 60 shock.charging energy_j=150; 70 shock.clear;
		73 cardioversion.given energy_j=150; 85 rhythm.organised;
		100 intervention.ecg`,
	"stable-vt": `10 rhythm.vt; 14 patient.stable; 25 access.iv; 30 intervention.monitor; 40 intervention.ecg; 60 drug.amiodarone dose_mg=150;
		120 patient.unstable; 125 shock.charging energy_j=100; 135 shock.clear; 138 cardioversion.given energy_j=100; 150 rhythm.organised`,
}

type callout struct {
	at    timeline.Time
	event timeline.Event
}

func callouts(t *testing.T, text string) []callout {
	t.Helper()
	var out []callout
	for _, line := range strings.Split(text, ";") {
		w := strings.Fields(line)
		at, err := strconv.ParseFloat(w[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		e := timeline.Event{At: timeline.Seconds(at), Kind: timeline.Kind(w[1])}
		for _, kv := range w[2:] {
			k, v, _ := strings.Cut(kv, "=")
			x, err := strconv.ParseFloat(v, 64)
			if err != nil {
				t.Fatal(err)
			}
			e.Values = map[string]float64{k: x}
		}
		out = append(out, callout{e.At, e})
	}
	return out
}

// spokenIn plays a case through machine and scheduler and returns what sounded,
// each as its first and last sample, to a minute after the last callout.
func spokenIn(t *testing.T, v *Voice, p *timeline.Protocol, list []callout) (spoken [][2]timeline.Time, end timeline.Time) {
	t.Helper()
	player := audio.NewPlayer(0)
	s := NewScheduler(v, player, 1)
	m := timeline.NewMachine(p)
	s.SetHolds(m.Holds)
	out := make([]float32, audio.Block)
	var seq uint64
	var step func(e timeline.Event, now timeline.Time)
	step = func(e timeline.Event, now timeline.Time) {
		seq++
		e.Seq = seq
		ready := m.Step(e, now)
		for _, more := range ready.Events {
			step(more, now)
		}
		for _, c := range ready.Cues {
			s.Offer(c)
		}
	}
	end = list[len(list)-1].at + timeline.Seconds(60)
	for now := timeline.Time(0); now < end; now += audio.Block {
		for len(list) > 0 && list[0].at <= now {
			step(list[0].event, now)
			list = list[1:]
		}
		for _, c := range m.Tick(now) {
			s.Offer(c)
		}
		for _, sp := range s.Advance(audio.Block) {
			switch {
			case sp.Cut:
				spoken[len(spoken)-1][1] = sp.Until
			case sp.Dropped == "":
				spoken = append(spoken, [2]timeline.Time{sp.At, sp.Until})
			}
		}
		player.Render(out)
	}
	return spoken, end
}

// within is how many seconds of speech lie between from and to.
func within(spoken [][2]timeline.Time, from, to timeline.Time) float64 {
	sum := 0.0
	for _, x := range spoken {
		sum += max(0, min(x[1], to)-max(x[0], from)).Seconds()
	}
	return sum
}

// A team must be able to think: over the six cases coxswain speaks at most 8 s
// a minute, in none of them more than 10, and at most 18 s in the worst minute.
// Who asks for doses of a child by volume hears up to a second more: a volume is
// never said without the unit of what it is drawn from.
func TestSpeechLeavesRoom(t *testing.T) {
	v, p := voiceAndProtocol(t)
	names := make([]string, 0, len(wellCalled))
	for name := range wellCalled {
		names = append(names, name)
	}
	slices.Sort(names)
	sum := 0.0
	for _, name := range names {
		list := callouts(t, wellCalled[name])
		begin := list[0].at
		spoken, end := spokenIn(t, v, p, list)
		mean, worst := within(spoken, begin, end)/((end-begin).Seconds()/60), 0.0
		for from := begin; from < end; from += timeline.Rate {
			worst = max(worst, within(spoken, from, from+timeline.Seconds(60)))
		}
		t.Logf("%-12s %4.1f s a minute, worst minute %4.1f s", name, mean, worst)
		most := 18.0
		if name == "child" {
			most = 19
		}
		if sum += mean; mean > 10 || worst > most {
			t.Errorf("%s: %.1f s a minute, worst minute %.1f s", name, mean, worst)
		}
	}
	if all := sum / float64(len(names)); all > 8 {
		t.Errorf("%.1f s a minute over all cases", all)
	} else {
		t.Logf("%.1f s a minute over all cases", all)
	}
}

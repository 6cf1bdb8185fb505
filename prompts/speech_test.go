package prompts

import (
	"maps"
	"slices"
	"strconv"
	"strings"
	"testing"

	"coxswain/audio"
	"coxswain/timeline"
)

// What teams call in the invented cases of package drill when all goes well:
// seconds, callout, numbers.
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
	"opioid": `10 pulse.absent; 13 compressions.start; 20 patient.opioid; 40 rhythm.check; 44 rhythm.asystole; 47 compressions.start;
		60 access.io; 75 drug.epinephrine dose_mg=1; 100 airway.secured; 130 cause.treated.hypoxia; 165 rhythm.check; 169 rhythm.organised;
		173 rosc; 230 intervention.ecg`,
	"refractory": `8 compressions.start; 12 rhythm.vf; 16 shock.charging energy_j=200; 22 shock.clear; 25 shock.given energy_j=200;
		28 compressions.start; 60 access.iv; 140 rhythm.check; 144 rhythm.vf; 146 shock.charging energy_j=200; 152 shock.clear;
		155 shock.given energy_j=200; 158 compressions.start; 175 drug.epinephrine dose_mg=1; 270 rhythm.check; 274 rhythm.vf;
		276 shock.charging energy_j=200; 282 shock.clear; 285 shock.given energy_j=200; 288 compressions.start;
		305 drug.amiodarone dose_mg=300; 330 intervention.vector; 362 drug.epinephrine dose_mg=1; 400 rhythm.check; 404 rhythm.vf;
		406 shock.charging energy_j=200; 412 shock.clear; 415 shock.given energy_j=200; 418 compressions.start; 520 rhythm.check;
		524 rhythm.organised; 528 rosc; 590 intervention.ecg`,
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

// sentence is one of ours: from when to when it sounded.
type sentence struct {
	at, until timeline.Time
	text      string
}

// A callout takes about 0.3 s and 0.35 s for each of its words; it is decided 0.4 s
// after its end. The signal that somebody speaks comes 0.1 s after the beginning and
// goes 0.25 s after the end: measured with the recogniser's endpointer.
func calling(e timeline.Event) (from, to timeline.Time) {
	words := len(strings.Fields(e.Words()))
	return e.At - timeline.Seconds(0.3+0.35*float64(words)), e.At
}

// spokenIn plays a case through machine and scheduler, with people who call each
// thing in as long as it takes, and returns what sounded to a minute after the last
// callout, and how many seconds of it lay over somebody who called.
func spokenIn(t *testing.T, v *Voice, p *timeline.Protocol, list []callout) (out []sentence, over float64, end timeline.Time) {
	t.Helper()
	player := audio.NewPlayer(0)
	s := NewScheduler(v, player, 1)
	m := timeline.NewMachine(p)
	s.SetFresh(m.Fresh)
	block := make([]float32, audio.Block)
	var seq uint64
	var step func(e timeline.Event, now timeline.Time)
	step = func(e timeline.Event, now timeline.Time) {
		seq++
		e.Seq = seq
		ready := m.Step(e, now)
		for _, more := range ready.Events {
			step(more, now)
		}
		s.Withdraw("no longer due", m.Stale)
		for _, c := range ready.Cues {
			s.Offer(c)
		}
	}
	end = list[len(list)-1].at + timeline.Seconds(60)
	next := 0
	for now := timeline.Time(0); now < end; now += audio.Block {
		if next < len(list) && list[next].at+timeline.Seconds(0.4) <= now {
			step(list[next].event, now)
			next++
		}
		speaks := false
		for _, c := range list {
			from, to := calling(c.event)
			speaks = speaks || now >= from+timeline.Seconds(0.1) && now < to+timeline.Seconds(0.25)
		}
		s.Speech(speaks)
		for _, c := range m.Tick(now) {
			s.Offer(c)
		}
		for _, sp := range s.Advance(audio.Block) {
			switch {
			case sp.Cut:
				out[len(out)-1].until = sp.Until
			case sp.Dropped == "":
				out = append(out, sentence{sp.At, sp.Until, sp.Text})
			}
		}
		player.Render(block)
	}
	for _, c := range list {
		from, to := calling(c.event)
		for _, x := range out {
			if s := max(0, min(x.until, to)-max(x.at, from)).Seconds(); s > 0 {
				over += s
				t.Logf("  %s over %s: %.1f s of %q", c.event.At, c.event.Words(), s, x.text)
			}
		}
	}
	return out, over, end
}

// within is how many seconds of speech lie between from and to.
func within(spoken []sentence, from, to timeline.Time) float64 {
	sum := 0.0
	for _, x := range spoken {
		sum += max(0, min(x.until, to)-max(x.at, from)).Seconds()
	}
	return sum
}

// A team must be able to think, and to speak: in none of the cases coxswain speaks
// more than 8 s a minute, or 18 in the worst, or more than a second over somebody who
// calls something, in the words and by the numbers of either guideline.
func TestSpeechLeavesRoom(t *testing.T) {
	for _, id := range []string{"aha-2025", "erc-2025"} {
		t.Run(id, func(t *testing.T) {
			p, err := timeline.LoadProtocol(id)
			if err != nil {
				t.Fatal(err)
			}
			v, err := NewVoice("")
			if err != nil {
				t.Fatal(err)
			}
			if v, err = v.In(p.Words); err != nil {
				t.Fatal(err)
			}
			leavesRoom(t, v, p)
		})
	}
}

func leavesRoom(t *testing.T, v *Voice, p *timeline.Protocol) {
	t.Helper()
	sum := 0.0
	for _, name := range slices.Sorted(maps.Keys(wellCalled)) {
		list := callouts(t, wellCalled[name])
		begin := list[0].at
		spoken, over, end := spokenIn(t, v, p, list)
		mean, worst := within(spoken, begin, end)/((end-begin).Seconds()/60), 0.0
		for from := begin; from < end; from += timeline.Rate {
			worst = max(worst, within(spoken, from, from+timeline.Seconds(60)))
		}
		t.Logf("%-12s %4.1f s a minute, worst minute %4.1f s, %.1f s over a speaker", name, mean, worst, over)
		if sum += mean; mean > 8 || worst > 18 || over > 1 {
			t.Errorf("%s: %.1f s a minute, worst minute %.1f s, %.1f s over a speaker", name, mean, worst, over)
			for _, x := range spoken {
				t.Logf("  %s %4.1f s %q", x.at, (x.until - x.at).Seconds(), x.text)
			}
		}
	}
	t.Logf("%.1f s a minute over all cases", sum/float64(len(wellCalled)))
}

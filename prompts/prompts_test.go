package prompts

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"coxswain/audio"
	"coxswain/timeline"
)

// 110 a minute at 48 kHz is 26181.82 samples: beat k lies at the rounded
// multiple, also under speech, for ten minutes (computed from the rule).
func TestBeatIsRightToTheSampleUnderSpeech(t *testing.T) {
	v, err := NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	p := audio.NewPlayer(0)
	s := NewScheduler(v, p, 1)
	const start = 4800
	quiet := audio.NewPlayer(0) // the same speech without a beat
	sq := NewScheduler(v, quiet, 1)
	s.StartBeat(Metronome{Rate: 110, Start: start})
	a, b := make([]float32, audio.Block), make([]float32, audio.Block)
	var onsets []int64
	last := int64(-audio.Rate)
	minutes := int64(10)
	if testing.Short() {
		minutes = 1
	}
	for n := int64(0); n < minutes*60*100; n++ {
		if n%700 == 0 {
			c := timeline.Cue{ID: "cycle.end", At: timeline.Time(p.Pos()), Expires: timeline.Time(p.Pos() + audio.Rate), Priority: timeline.Cycle}
			s.Offer(c)
			sq.Offer(c)
		}
		s.StartBeat(Metronome{Rate: 110, Start: p.Pos()}) // asked for in every block, as a session does
		for _, sp := range s.Advance(audio.Block) {
			if sp.Dropped == "" && sp.At != sp.Cue.At {
				t.Fatalf("cue for %d placed at %d", sp.Cue.At, sp.At)
			}
		}
		sq.Advance(audio.Block)
		p.Render(a)
		quiet.Render(b)
		for i := range a {
			if at := n*audio.Block + int64(i); a[i] != b[i] && at-last > audio.Rate/10 {
				onsets = append(onsets, at)
				last = at
			} else if a[i] != b[i] {
				last = max(last, at-audio.Rate/20)
			}
		}
	}
	if int64(len(onsets)) < 109*minutes {
		t.Fatalf("%d beats in %d minutes", len(onsets), minutes)
	}
	m := Metronome{Rate: 110, Start: start}
	for k, at := range onsets {
		if d := at - m.At(int64(k)) - 1; d != 0 { // the tick's first sample is 0
			t.Fatalf("beat %d at %d, want %d", k, at, m.At(int64(k))+1)
		}
	}
}

// 5 cycles of 30:2 are 150 compressions (AHA 2005 Part 5: about 5 cycles in 2 min).
func TestRatio(t *testing.T) {
	m := Metronome{Rate: 100, Beats: 30, Pause: 4 * audio.Rate}
	if got, want := m.At(30)-m.At(29), int64(28800+4*audio.Rate); got != want {
		t.Errorf("over a pause for breaths: %d samples, want %d", got, want)
	}
	if k, at := m.Next(m.At(149) + 1); k != 150 || at != m.At(150) {
		t.Errorf("next beat is %d at %d", k, at)
	}
}

func TestSentences(t *testing.T) {
	v, err := NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		id     string
		values map[string]float64
		want   string
	}{
		{"said.drug.epinephrine", map[string]float64{"dose_mg": 1}, "Epinephrine one milligram"},
		{"said.shock.given", nil, "Shock. Compress."},
		{"said.shock.given", map[string]float64{"energy_j": 360}, "Shock three hundred sixty Compress."},
		{"next.rhythm.in", map[string]float64{"minutes": 0, "seconds": 40}, "forty seconds until the next look"},
		{"answer.time", map[string]float64{"minutes": 6, "seconds": 1}, "Code time six minutes one second"},
		{"unheard.of", nil, "Copied"},
		{"epinephrine.first", nil, "Consider epinephrine"}, // the weight is not known: never "zero milligrams"
		{"peri.amiodarone", map[string]float64{"minutes": 10}, "Consider amiodarone over ten minutes"},
	} {
		cue := timeline.Cue{ID: c.id, Values: c.values}
		if got := v.Sentence(cue); got != c.want {
			t.Errorf("%s: %q, want %q", c.id, got, c.want)
		}
		if v.Speak(cue).Len() < audio.Rate/10 {
			t.Errorf("%s: too short to be heard", c.id)
		}
	}
}

// Under a protocol with European words nothing is called epinephrine, each
// sentence has its clips, and the American voice stays as it was.
func TestWords(t *testing.T) {
	v, err := NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	european, err := v.In("european")
	if err != nil {
		t.Fatal(err)
	}
	due := timeline.Cue{ID: "epinephrine.first", Values: map[string]float64{"dose_mg": 1}}
	if got, want := european.Sentence(due), "Consider adrenaline one milligram"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	if got, want := v.Sentence(due), "Consider epinephrine one milligram"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	for id := range european.cues {
		for _, p := range european.pieces(timeline.Cue{ID: id}) {
			if strings.Contains(strings.ToLower(p), "epinephrine") || v.clips[Slug(p)] == nil {
				t.Errorf("%s: %q", id, p)
			}
		}
	}
	for _, id := range timeline.Protocols() {
		p, err := timeline.LoadProtocol(id)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := v.In(p.Words); err != nil || strings.HasPrefix(id, "erc") != (p.Words == "european") {
			t.Errorf("%s: words %q: %v", id, p.Words, err)
		}
	}
	for _, c := range timeline.Cautions {
		if v.items[c] == "" || european.items[c] == "" {
			t.Errorf("caution %q has no words", c)
		}
	}
	if _, err := v.In("martian"); err == nil || !strings.Contains(err.Error(), "european") {
		t.Errorf("unknown words: %v", err)
	}
}

// Every clip, as a listener meets it: it says the sentence that it is named for,
// loads, begins at once (a cue must sound within 10 ms of its sample; 60 ms of
// breath or closure is speech), is as loud as the others and does not clip.
func TestClips(t *testing.T) {
	v, err := NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range Texts() {
		sound := v.clips[Slug(text)].(*audio.Opus)
		if Slug(sound.Title()) != Slug(text) {
			t.Errorf("the clip for %q says %q", text, sound.Title())
		}
		c := audio.Render(sound)
		if len(c) != sound.Len() {
			t.Errorf("%q: %d samples of %d can be decoded", text, len(c), sound.Len())
		}
		peak, sum, first := 0.0, 0.0, -1
		for i, x := range c {
			a := math.Abs(float64(x))
			peak, sum = max(peak, a), sum+a*a
			if first < 0 && a > 0.02 {
				first = i
			}
		}
		rms := 20 * math.Log10(math.Sqrt(sum/float64(max(1, len(c)))))
		if seconds := float64(len(c)) / audio.Rate; seconds < 0.1 || seconds > 10 || first < 0 || first > audio.Rate*6/100 ||
			peak < 0.55 || peak > 0.9 || rms < -23 || rms > -11 {
			t.Errorf("%q: %.2f s, first sound after %d ms, peak %.2f, %.1f dBFS", text, seconds, first*1000/audio.Rate, peak, rms)
		}
	}
}

func voiceAndProtocol(t *testing.T) (*Voice, *timeline.Protocol) {
	t.Helper()
	v, err := NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	p, err := timeline.LoadProtocol("aha-2020")
	if err != nil {
		t.Fatal(err)
	}
	return v, p
}

// The hand-over summary takes at most half a minute, however long the code.
func TestSummaryIsShort(t *testing.T) {
	v, p := voiceAndProtocol(t)
	m := timeline.NewMachine(p)
	var seq uint64
	step := func(at float64, k timeline.Kind, values map[string]float64) timeline.Ready {
		seq++
		return m.Step(timeline.Event{Seq: seq, At: timeline.Seconds(at), Kind: k, Values: values}, timeline.Seconds(at))
	}
	step(0, timeline.PatientChild, nil)
	step(1, timeline.PatientWeight, map[string]float64{"weight_kg": 37.5})
	step(2, timeline.CompressionsStart, nil)
	step(10, timeline.RhythmVF, nil)
	for k := range 27 {
		step(20+60*float64(k), timeline.ShockGiven, nil)
		step(30+60*float64(k), "drug.epinephrine", nil)
	}
	step(1700, "drug.amiodarone", nil)
	step(1710, "cause.treated.hypoxia", nil)
	for i, number := range []struct {
		kind, slot string
		value      float64
	}{
		{"etco2", "endtidal_mmhg", 19}, {"potassium", "potassium_mmol", 7.1}, {"glucose", "glucose_mgdl", 42}, {"ph", "ph", 6.91},
		{"temperature", "temperature_c", 28.5}, {"saturation", "saturation_pct", 81},
	} {
		step(1711+float64(i), timeline.Kind("measured."+number.kind), map[string]float64{number.slot: number.value})
	}
	step(1718, timeline.AirwayLost, nil)
	step(1720, timeline.ROSC, nil)
	cue := step(4767, timeline.AskSummary, nil).Cues[0]
	if s := float64(v.Speak(cue).Len()) / audio.Rate; s > 30 || s < 5 {
		t.Errorf("%.1f s: %s", s, v.Sentence(cue))
	} else {
		t.Logf("%.1f s: %s", s, v.Sentence(cue))
	}
}

// Every cue that the machine can think of has a sentence of its own: none is
// answered with the "Copied" that is kept for a site's own callouts.
func TestEveryCueHasASentence(t *testing.T) {
	v, _ := voiceAndProtocol(t)
	r := rand.New(rand.NewPCG(5, 5))
	kinds := append([]timeline.Kind{"drug.epinephrine", "drug.amiodarone", "drug.lidocaine", "drug.atropine", "drug.adenosine",
		"drug.magnesium", "drug.naloxone", "drug.calcium",
		"drug.bicarbonate", "drug.glucose", "cause.treated.hypoxia", "cause.excluded.toxins", "cause.considered.acidosis",
		"ask.dose.epinephrine", "ask.dose.shock",
		"correct.drug.lidocaine", "intervention.vagal", "intervention.pacing", "intervention.ecg", "intervention.decompression",
		"intervention.delivery"}, timeline.Callouts...)
	var check func(c timeline.Cue)
	check = func(c timeline.Cue) {
		if got := v.Sentence(timeline.Cue{ID: c.ID, Values: c.Values, Items: c.Items}); got == "Copied" || got == "" && len(c.Parts) == 0 {
			t.Errorf("%s has no sentence: %q", c.ID, got)
		}
		for _, part := range c.Parts {
			check(part)
		}
	}
	for i := range 200 {
		all := timeline.Protocols()
		p, err := timeline.LoadProtocol(all[i%len(all)])
		if err != nil {
			t.Fatal(err)
		}
		m := timeline.NewMachine(p)
		var seq uint64
		for now := timeline.Time(0); now < timeline.Seconds(500); now += timeline.Rate {
			if r.IntN(6) == 0 {
				seq++
				e := timeline.Event{Seq: seq, At: now, Kind: kinds[r.IntN(len(kinds))], Values: map[string]float64{"minutes": 1}}
				ready := m.Step(e, now)
				for _, more := range ready.Events {
					seq++
					more.Seq = seq
					m.Step(more, now)
				}
				for _, c := range ready.Cues {
					check(c)
				}
			}
			for _, c := range m.Tick(now) {
				check(c)
			}
		}
	}
}

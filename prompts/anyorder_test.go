package prompts

import (
	"math/rand/v2"
	"regexp"
	"slices"
	"strings"
	"testing"

	"coxswain/timeline"
)

// holes are what a sentence must not have: a slot left open, a number that no clip says,
// nothing where a number or a name belongs, or a zero that tells nothing.
var holes = regexp.MustCompile(`[{}]|(^|[^w] )many\b|zero (minutes|seconds|doses|causes|joules)\b|` +
	`\b(at|of|to|than|every|least|most|and|consider|correct|instead of) *([.?]|$)|^[.,? ]|  |code time$|only after|(^|\. )ago|, ago`)

// Whatever is called in whatever order, under each protocol, every sentence is whole.
func TestNoSentenceHasAHole(t *testing.T) {
	voice, err := NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]bool{}
	for _, id := range timeline.Protocols() {
		p, err := timeline.LoadProtocol(id)
		if err != nil {
			t.Fatal(err)
		}
		v, err := voice.In(p.Words)
		if err != nil {
			t.Fatal(err)
		}
		for seed := range uint64(60) {
			r := rand.New(rand.NewPCG(seed, 3))
			m, seq, now := timeline.NewMachine(p), uint64(0), timeline.Time(0)
			say := func(cues []timeline.Cue) {
				for _, c := range cues {
					for _, s := range []string{v.Sentence(c), v.Sentence(v.Short(c))} {
						if holes.MatchString(strings.ToLower(s)) {
							t.Errorf("%s, walk %d: %q of %s", id, seed, s, c.Describe())
						}
						seen[s] = true
					}
				}
			}
			for range 60 {
				for end := now + timeline.Time(r.IntN(20*timeline.Rate)); now < end; now += timeline.Rate / 5 {
					say(m.Tick(now))
				}
				kind, values := something(r)
				events := []timeline.Event{{At: now, Kind: kind, Values: values}}
				for len(events) > 0 {
					e := events[0]
					seq++
					e.Seq = seq
					ready := m.Step(e, now)
					say(ready.Cues)
					events = slices.Concat(events[1:], ready.Events)
				}
			}
		}
	}
	if testing.Verbose() {
		var all []string
		for s := range seen {
			all = append(all, s)
		}
		slices.Sort(all)
		t.Log(strings.Join(all, "\n"))
	}
}

// something is some callout with numbers that can be said.
func something(r *rand.Rand) (timeline.Kind, map[string]float64) {
	asked := []timeline.Kind{"ask.dose.shock", "ask.dose.epinephrine", "ask.dose.amiodarone", "ask.dose.atropine", timeline.AskSummary,
		timeline.AskNext, timeline.AskBasis, timeline.AskTime, "ask.since.epinephrine", "ask.given.epinephrine", timeline.Undo,
		timeline.Confirm, timeline.CompressionsStart, timeline.RhythmVF, timeline.ShockGiven, timeline.PatientUnstable,
		timeline.Epinephrine, "correct.drug.dose", "correct.drug.lidocaine", timeline.Backdate}
	kind := timeline.Callouts[r.IntN(len(timeline.Callouts))]
	if r.IntN(2) == 0 {
		kind = asked[r.IntN(len(asked))]
	}
	pick := func(list ...float64) float64 { return list[r.IntN(len(list))] }
	values := map[string]float64{}
	family, _ := kind.Family()
	switch {
	case family == "drug." && r.IntN(3) > 0, kind == "correct.drug.dose":
		values["dose_mg"] = pick(0.1, 1, 2, 6, 12, 50, 150, 300)
	case kind == "drug.magnesium" || kind == "drug.calcium":
		values["dose_g"] = pick(1, 2)
	case kind.Row().Lane == "shock" && r.IntN(2) > 0, kind == timeline.CorrectEnergy:
		values["energy_j"] = pick(20, 100, 150, 200, 360)
	case kind == timeline.PatientWeight:
		values["weight_kg"] = pick(4, 10, 20, 80)
	case kind == timeline.PatientAge:
		values["age_y"] = pick(1, 4, 30, 80)
	case kind == timeline.PatientAgeMonths:
		values["age_months"] = pick(2, 9)
	case kind == timeline.Backdate:
		values["minutes"] = pick(1, 2, 3)
	case kind == timeline.BeatRate:
		values["beats"] = pick(100, 110)
	case kind == "measured.pressure":
		values["systolic_mmhg"], values["diastolic_mmhg"] = pick(60, 90, 120), pick(30, 50, 130)
	case family == "measured.":
		values[slotOf[kind]] = pick(2, 7.1, 28, 35, 60, 120)
	}
	return kind, values
}

// slotOf are the slots of measured numbers, as the vocabulary has them.
var slotOf = map[timeline.Kind]string{
	"measured.etco2": "endtidal_mmhg", "measured.potassium": "potassium_mmol", "measured.glucose": "glucose_mgdl",
	"measured.ph": "ph", "measured.lactate": "lactate_mmol", "measured.temperature": "temperature_c",
	"measured.saturation": "saturation_pct",
}

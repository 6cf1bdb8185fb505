package acoustic

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"coxswain/intents"
)

// passesOf hears the built-in sound with each net, whole.
func passesOf(t *testing.T) (*model, []*pass) {
	t.Helper()
	m, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	return m, listenAll(m, sound())
}

// A net over a whole reading gives what it gives row by row.
func TestPassIsTheNet(t *testing.T) {
	m, passes := passesOf(t)
	e, row := newEnsemble(m.nets), 0
	newLogMel(e.warps()...).push(wholeBatches(sound()), func(mels [][]float32) {
		if !e.push(mels) {
			return
		}
		for i := range min(batch, passes[0].rows-row) {
			for k, n := range e.nets {
				for phone, want := range passes[k].posteriors(row) {
					if d := math.Abs(float64(n.out[i*len(n.out)/batch+phone] - want)); d > 1e-3 {
						t.Fatalf("net %d, row %d, phone %d is off by %g", k, row, phone, d)
					}
				}
			}
			row++
		}
	})
	if row != passes[0].rows || row < 90 {
		t.Errorf("%d rows, the net gives %d", passes[0].rows, row)
	}
}

// The slopes are those that differences of the cross entropy give, and a step goes down.
func TestSlopes(t *testing.T) {
	m, _ := passesOf(t)
	p := newPass(m.nets[1], heardBy(m, 1))
	labels := []label{{30, 5, 1}, {31, 5, 1}, {50, 20, 1}, {70, silence, .3}}
	entropy := func() (sum float64) {
		p.forward()
		for _, l := range labels {
			sum -= float64(l.weight * p.posteriors(l.row)[l.phone])
		}
		return sum / 3.3
	}
	before := entropy()
	learn([]*pass{p}, labels, 0)
	if after := entropy(); after >= before {
		t.Errorf("a step went from %g to %g", before, after)
	}
	slopes := map[string]*adam{"hidden": &p.hidden, "phones": &p.phones}
	for name, a := range slopes {
		clear(p.hidden.x)
		clear(p.phones.x)
		steepest := 0
		for i, s := range a.slope {
			if math.Abs(float64(s)) > math.Abs(float64(a.slope[steepest])) {
				steepest = i
			}
		}
		const by = 2e-3
		a.x[steepest] = by
		up := entropy()
		a.x[steepest] = -by
		want := (up - entropy()) / (2 * by)
		if got := float64(a.slope[steepest]); math.Abs(got-want) > .05*math.Abs(want) {
			t.Errorf("%s %d: slope %g, by differences %g", name, steepest, got, want)
		}
	}
}

// heardBy is what a net makes of the built-in sound.
func heardBy(m *model, k int) (out []float32) {
	e := newEnsemble(m.nets)
	newLogMel(e.warps()...).push(sound(), func(mels [][]float32) { out = append(out, e.ear(k, mels[k])...) })
	return out
}

// emptyVoice is a profile that changes nothing.
func emptyVoice(t *testing.T) *Voice {
	t.Helper()
	m, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	nets, err := fingerprint()
	if err != nil {
		t.Fatal(err)
	}
	v := &Voice{Format: voiceFormat, Made: "2026-01-01", Nets: nets, Phrases: 20}
	for _, w := range m.nets {
		v.Hidden, v.Phones = append(v.Hidden, make([]int, len(w.fb))), append(v.Phones, make([]int, len(w.ob)))
	}
	return v
}

// A profile is what its file says, and one that a rehearsal cannot have made is refused.
func TestParseVoice(t *testing.T) {
	good := string(emptyVoice(t).Bytes())
	v, err := ParseVoice([]byte(good))
	if err != nil || !reflect.DeepEqual(v, emptyVoice(t)) {
		t.Fatalf("%+v, %v", v, err)
	}
	for name, c := range map[string][2]string{
		"empty":           {"", "not a voice profile"},
		"no JSON":         {"RIFF....WAVE", "not a voice profile"},
		"cut off":         {good[:len(good)/2], "not a voice profile"},
		"a second one":    {good + good, "not a voice profile"},
		"another format":  {strings.Replace(good, `"format": 1`, `"format": 2`, 1), "format 1"},
		"other nets":      {strings.Replace(good, `"nets": "`, `"nets": "0`, 1), "other nets"},
		"a number less":   {strings.Replace(good, "[0,0,", "[0,", 1), "its numbers"},
		"a net less":      {strings.Replace(good, `"hidden": [`, `"hidden": [[],`, 1), "its numbers"},
		"out of bounds":   {strings.Replace(good, "[0,", "[501,", 1), "its numbers"},
		"no whole number": {strings.Replace(good, "[0,", "[0.5,", 1), "not a voice profile"},
	} {
		if _, err := ParseVoice([]byte(c[0])); err == nil || !strings.Contains(err.Error(), c[1]) ||
			strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v, want %q", name, err, c[1])
		}
	}
}

func FuzzParseVoice(f *testing.F) {
	f.Add([]byte(`{"format":1,"nets":"x","hidden":[[1]],"phones":[[]]}`))
	f.Fuzz(func(t *testing.T, b []byte) { ParseVoice(b) })
}

// A profile that adds nothing changes nothing; one of other nets is refused.
func TestUseVoice(t *testing.T) {
	r := listener(t, nil).(*Recogniser)
	before := r.nets.nets[0].w
	if err := r.UseVoice([]byte("{}")); err == nil || r.nets.nets[0].w != before {
		t.Errorf("an empty profile was taken: %v", err)
	}
	v := emptyVoice(t)
	v.Hidden[1][7], v.Phones[0][3] = 100, -200
	if err := r.UseVoice(v.Bytes()); err != nil {
		t.Fatal(err)
	}
	for k, n := range r.nets.nets {
		for i := range n.w.fb {
			want := before.fb[i]
			if k > 0 {
				want = r.model.nets[k].fb[i]
			}
			if k == 1 && i == 7 {
				want += .01
			}
			if n.w.fb[i] != want {
				t.Fatalf("net %d, sum %d: %g, want %g", k, i, n.w.fb[i], want)
			}
		}
	}
	if got, want := r.nets.nets[0].w.ob[3], r.model.nets[0].ob[3]-.02; math.Abs(float64(got-want)) > 1e-6 {
		t.Errorf("the phone's logit is %g, want %g", got, want)
	}
}

// Too few phrases, or none that fits the sound, make no profile.
func TestLearnVoiceNeedsPhrases(t *testing.T) {
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	read := []intents.Result{{Callout: "undo", Text: "undo that", Start: 100, End: 20000}, {Text: "", Start: -5, End: 1 << 40}}
	if _, err := LearnVoice(v, sound(), read, func(float64) {}); err == nil || !strings.Contains(err.Error(), "of 8 that it takes") {
		t.Error(err)
	}
	if _, err := LearnVoice(v, nil, nil, func(float64) {}); err == nil {
		t.Error("a profile of nothing")
	}
}

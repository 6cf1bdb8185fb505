package acoustic

import (
	"encoding/json"
	"math"
	"os"
	"strings"
	"sync"
	"testing"

	"coxswain/intents"
)

// sound is the same formula as in intents/train/golden.py.
func sound() []int16 {
	out := make([]int16, 32000)
	seed := int64(1)
	for i := range out {
		seed = (seed*1103515245 + 12345) % 2147483648
		f := 120 + 60*float64(i)/float64(len(out))
		t := float64(i) / 16000
		saw, gain := 2*math.Mod(f*t, 1)-1, .2
		if i/3200%2 == 0 {
			gain = 1
		}
		out[i] = int16(3000*saw*gain + (float64(seed)/2147483648-.5)*800)
	}
	return out
}

// wholeBatches is pcm with silence behind it, for nets that answer in batches.
func wholeBatches(pcm []int16) []int16 { return append(pcm, make([]int16, batch*frameHop)...) }

// The front end and the net give what PyTorch gives, to 1e-3: golden vectors
// by intents/train/golden.py with the weights that are embedded here.
func TestSameAsTrainingFramework(t *testing.T) {
	b, err := os.ReadFile("testdata/golden.json")
	if err != nil {
		t.Fatal(err)
	}
	var golden struct {
		Mel           [][]float64 `json:"mel"`
		MelEvery      int         `json:"mel_every"`
		Delay         int         `json:"delay"`
		LogPosteriors [][]float64 `json:"log_posteriors"`
		LogCallouts   [][]float64 `json:"log_callouts"`
	}
	if err := json.Unmarshal(b, &golden); err != nil {
		t.Fatal(err)
	}
	if golden.Delay != lookahead {
		t.Fatalf("the net was trained to look %d outputs ahead, the decoder thinks %d", golden.Delay, lookahead)
	}
	w, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	n := newEnsemble(w.nets)
	mel := newLogMel(n.warps()...)
	frames, outputs, worst := 0, 0, 0.0
	compare := func(got []float32, want []float64) {
		for i := range got {
			worst = max(worst, math.Abs(float64(got[i])-want[i]))
		}
	}
	mel.push(wholeBatches(sound()), func(m [][]float32) {
		if frames%golden.MelEvery == 0 && frames/golden.MelEvery < len(golden.Mel) {
			compare(m[0], golden.Mel[frames/golden.MelEvery])
		}
		frames++
		if !n.push(m) {
			return
		}
		for i := range min(batch, len(golden.LogPosteriors)-outputs) {
			phone, call := n.output(i)
			compare(phone, golden.LogPosteriors[outputs])
			compare(call, golden.LogCallouts[outputs])
			outputs++
		}
	})
	if outputs != len(golden.LogPosteriors) || outputs < 90 {
		t.Errorf("%d outputs, PyTorch made %d", outputs, len(golden.LogPosteriors))
	}
	t.Logf("largest difference %.2g", worst)
	if worst > 1e-3 {
		t.Errorf("largest difference is %g, want 1e-3", worst)
	}
}

// A stream cut into calls of any size gives the same results at the same
// samples.
func TestHearIsIndependentOfCalls(t *testing.T) {
	pcm := speak(t, "everybody clear. shock delivered two hundred joules. rhythm check.")
	whole := hear(t, nil, pcm, len(pcm))
	if len(whole) != 3 || whole[1].Values["energy_j"] != 200 {
		t.Fatalf("heard %+v", whole)
	}
	for _, step := range []int{1600, 777, 31} {
		if got := hear(t, nil, pcm, step); !equal(got, whole) {
			t.Errorf("in steps of %d: %+v, at once %+v", step, got, whole)
		}
	}
}

func equal(a, b []intents.Result) bool {
	x, _ := json.Marshal(a)
	y, _ := json.Marshal(b)
	return string(x) == string(y)
}

// A site requires a lead word: without it nothing is heard, with it all is.
func TestLeadWord(t *testing.T) {
	lead := func(v *intents.Vocabulary) { v.LeadWord, v.LeadAll = "timekeeper", true }
	if got := hear(t, lead, speak(t, "shock delivered. rhythm check."), 1600); len(got) != 0 {
		t.Errorf("without the lead word heard %+v", got)
	}
	got := hear(t, lead, speak(t, "timekeeper, shock delivered. timekeeper, rhythm check."), 1600)
	if len(got) != 2 || got[0].Callout != "shock.given" || got[1].Callout != "rhythm.check" {
		t.Errorf("with the lead word heard %+v", got)
	}
}

// A usual number is taken where it sounds alike, not where another was clearly
// said; a site's own list replaces the built-in one.
func TestUsualNumbers(t *testing.T) {
	for text, want := range map[string]float64{"amiodarone three hundred milligrams given.": 300,
		"amiodarone two hundred milligrams given.": 200, "lidocaine seventy milligrams given.": 70,
		"shock delivered one hundred forty joules.": 140} {
		got := hear(t, nil, speak(t, text), 1600)
		if len(got) != 1 || len(got[0].Values) != 1 || got[0].Values["dose_mg"]+got[0].Values["energy_j"] != want {
			t.Errorf("%q: heard %+v", text, got)
		}
	}
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	v.Find("shock.given").Usual = []float64{170}
	g, err := newGraph(v, nil)
	if err != nil {
		t.Fatal(err)
	}
	for k, p := range g.phrases {
		if n := len(g.usualSpans(k)); p.Callout.ID == "shock.given" && p.HasSlot() != (n == 1) {
			t.Errorf("%q has %d usual forms", p.Text, n)
		}
	}
}

// Talk that is no callout, silence, and a tone are not callouts.
func TestHearsNothingInTalk(t *testing.T) {
	for _, text := range []string{"please get the epi ready and start the clock", "he had v fib last year they said", ""} {
		if got := hear(t, nil, speak(t, text), 1600); len(got) != 0 {
			t.Errorf("%q: heard %+v", text, got)
		}
	}
	if got := hear(t, nil, sound(), 1600); len(got) != 0 {
		t.Errorf("in a tone heard %+v", got)
	}
}

// Talk wins over the callout whose words are in it, and over that only.
func TestTalkIsThrownAway(t *testing.T) {
	without := func(v *intents.Vocabulary) { v.Talk, v.Around = nil, intents.Around{} }
	for _, c := range []struct {
		text   string
		change func(*intents.Vocabulary)
		want   int
	}{
		{"have we got a pulse.", without, 1},
		{"have we got a pulse.", nil, 0},
		{"do we have a pulse.", nil, 0},
		{"resume compressions.", nil, 1},
		{"do we have a pulse. resume compressions.", nil, 1},
	} {
		if got := hear(t, c.change, speak(t, c.text), 1600); len(got) != c.want {
			t.Errorf("%q, without talk %v: heard %+v", c.text, c.change != nil, got)
		}
	}
}

// A callout stands in the same breath with courtesies and with another callout, and
// not with a negation, a question, a condition or an order, whatever callout it is.
func TestWordsAroundACallout(t *testing.T) {
	for text, want := range map[string]string{
		"please hold compressions.":                          "compressions.stop",
		"okay everyone stand clear.":                         "shock.clear",
		"shock delivered, back on the chest.":                "shock.given compressions.start",
		"adrenaline one milligram given.":                    "drug.epinephrine",
		"epinephrine has not been given.":                    "",
		"no v fib on the monitor.":                           "",
		"do not resume compressions.":                        "",
		"if there is no pulse start compressions.":           "",
		"get ready to stop compressions.":                    "",
		"do we have v fib.":                                  "",
		"rhythm check. do not stop compressions. undo that.": "rhythm.check undo", // another breath
	} {
		var got []string
		for _, r := range hear(t, nil, speak(t, text), 1600) {
			got = append(got, r.Callout)
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%q: heard %q, want %q", text, got, want)
		}
	}
	bare := func(v *intents.Vocabulary) { v.Around = intents.Around{} }
	if got := hear(t, bare, speak(t, "epinephrine has not been given."), 1600); len(got) != 1 {
		t.Errorf("without words around callouts heard %+v", got)
	}
}

// A listener that decides gets what was nearly heard and what was forbidden too, and a
// bare "yes"; a rival that the search left far behind is none, however well it fits alone.
func TestLeavesOpen(t *testing.T) {
	r := listener(t, nil)
	r.(intents.Candid).LeaveOpen()
	got, err := r.Hear(speak(t, "resume compressions. epinephrine has not been given. yes."))
	if err != nil {
		t.Fatal(err)
	}
	var text []string
	for _, x := range got {
		if !x.Open || x.Need == 0 {
			t.Errorf("%+v is not left open", x)
		}
		for _, y := range x.Rivals {
			if y.Callout == "compressions.stop" {
				t.Errorf("%q may have been %+v", x.Text, y)
			}
		}
		text = append(text, x.Callout+" "+x.Forbidden)
	}
	if all := strings.Join(text, ", "); !strings.HasPrefix(all, "compressions.start , ") ||
		!strings.Contains(all, "drug.epinephrine negation") || !strings.HasSuffix(all, "confirm ") {
		t.Errorf("heard %s", all)
	}
}

// No dose is heard that nobody gives, however clearly it is said.
func TestDoseBounds(t *testing.T) {
	for _, r := range hear(t, nil, speak(t, "three nineteen of epi given. epinephrine three hundred milligrams given."), 1600) {
		if r.Values["dose_mg"] > 5 {
			t.Errorf("heard %+v", r)
		}
	}
	bare := func(v *intents.Vocabulary) { v.Find("drug.epinephrine").Max = nil }
	if got := hear(t, bare, speak(t, "epinephrine three hundred milligrams given."), 1600); len(got) != 1 || got[0].Values["dose_mg"] != 300 {
		t.Errorf("without the bound heard %+v", got)
	}
}

// A callout that is dear to invent asks for more certainty.
func TestThresholdOfACallout(t *testing.T) {
	pcm := speak(t, "rhythm check.")
	sure := hear(t, nil, pcm, 1600)
	if len(sure) != 1 {
		t.Fatalf("heard %+v", sure)
	}
	if got := hear(t, func(v *intents.Vocabulary) { v.Find("rhythm.check").Confidence = 1 }, pcm, 1600); len(got) != 0 {
		t.Errorf("at a threshold of 1 heard %+v", got)
	}
}

// No file, however damaged, makes a net that panics.
func FuzzWeights(f *testing.F) {
	f.Add([]byte(net1[:200]))
	f.Add([]byte("CXAM\x03\x00\x00\x00"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if w, err := loadWeights(string(b)); err == nil {
			for n := newNet(w); !n.push(make([]float32, bands)); {
			}
		}
	})
}

// BenchmarkSecond hears a second of speech: seconds per op is the share of a core.
func BenchmarkSecond(b *testing.B) {
	pcm := speak(b, "the family is on the way and somebody should call them, everybody clear, shock delivered two hundred joules, "+
		"resume compressions")
	r := listener(b, nil)
	at := 0
	for b.Loop() {
		if at+16000 > len(pcm) {
			at = 0
		}
		r.Hear(pcm[at : at+16000])
		at += 16000
	}
}

// BenchmarkStart builds a recogniser for the whole vocabulary.
func BenchmarkStart(b *testing.B) {
	v, err := intents.LoadVocabulary()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := New(v); err != nil {
			b.Fatal(err)
		}
	}
}

// builtin is the graph of the built-in vocabulary, made once for all tests: it takes longer
// to make than a second of sound to hear.
var builtin = sync.OnceValues(func() (*graph, error) {
	v, err := intents.LoadVocabulary()
	if err != nil {
		return nil, err
	}
	m, err := shared()
	if err != nil {
		return nil, err
	}
	return newGraph(v, m.taught)
})

// made are the built-in graph and model.
func made(t testing.TB) (*graph, *model) {
	t.Helper()
	g, err := builtin()
	if err != nil {
		t.Fatal(err)
	}
	m, err := shared()
	if err != nil {
		t.Fatal(err)
	}
	return g, m
}

// listener is a recogniser of a new stream for the built-in vocabulary or, if change is
// given, for one that it has changed.
func listener(t testing.TB, change func(*intents.Vocabulary)) intents.Recogniser {
	t.Helper()
	g, m := made(t)
	if change == nil {
		return listenFor(g, m, nil)
	}
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	change(v)
	r, err := New(v)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func hear(t *testing.T, change func(*intents.Vocabulary), pcm []int16, step int) []intents.Result {
	t.Helper()
	r := listener(t, change)
	var out []intents.Result
	for at := 0; at < len(pcm); at += step {
		got, err := r.Hear(pcm[at:min(at+step, len(pcm))])
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, got...)
	}
	last, err := r.Close()
	if err != nil {
		t.Fatal(err)
	}
	return append(out, last...)
}

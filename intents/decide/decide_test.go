package decide

import (
	"strings"
	"testing"

	"coxswain/intents"
)

func rules(t *testing.T) *Rules {
	t.Helper()
	r, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func open(callout string, confidence float64, rivals ...intents.Rival) intents.Result {
	return intents.Result{Callout: callout, Text: callout, Confidence: confidence, Open: true, Rivals: rivals, Decided: 100 * intents.Rate}
}

func facts(list string) Facts {
	f := Facts{}
	for _, k := range strings.Fields(list) {
		f[k] = true
	}
	return f
}

func TestDecide(t *testing.T) {
	r := rules(t)
	forbidden := open("drug.epinephrine", 0.99)
	forbidden.Forbidden = "negation"
	strange := open("shock.given", 0.8)
	strange.Need = 0.86
	doubtful := open("drug.epinephrine", 0.999) // a "not" in it is nearly as likely as none
	doubtful.Need = 1
	for _, c := range []struct {
		name    string
		x       intents.Result
		facts   string
		verdict Verdict
		callout string // of the decision, if it is another than x's
		named   bool
	}{
		{"sure", open("rhythm.check", 0.9), "running", Accept, "", true},
		{"far from it", open("rhythm.check", 0.2), "running", Ignore, "", true},
		{"near", open("rhythm.check", 0.45), "running", Ask, "", true},
		{"near, but no case runs", open("rhythm.check", 0.45), "", Ignore, "", true},
		{"a shock out of the blue", open("shock.given", 0.45), "running", Ask, "", true},
		{"a shock after clear", open("shock.given", 0.45), "running clear", Accept, "", true},
		{"a pulse lost that nobody felt", open("pulse.lost", 0.7), "running arrest", Ask, "", true},
		{"a pulse lost that was felt", open("pulse.lost", 0.7), "running pulse", Accept, "", true},
		{"start while they run", open("compressions.start", 0.65), "running compressing", Ask, "", true},
		{"start in a pause", open("compressions.start", 0.42), "running paused", Accept, "", true},
		{"start in a pause, hardly heard", open("compressions.start", 0.3), "running paused", Ask, "", true},
		{"a shock after clear, hardly heard", open("shock.given", 0.31), "running clear", Ask, "", true},
		{"forbidden", forbidden, "running arrest", Ignore, "", false},
		{"doubtful, however clearly heard", doubtful, "running arrest", Ask, "", true},
		{"strange words beside it", strange, "running", Ask, "", true},
		{"a yes that nobody asked for", open("confirm", 0.9), "running", Ignore, "", false},
		{"adrenaline that sounds like atropine, in an arrest",
			open("drug.atropine", 0.63, intents.Rival{Callout: "drug.epinephrine", Confidence: 0.6}), "running arrest", Accept,
			"drug.epinephrine", true},
		{"two drugs, and nothing tells them apart",
			open("drug.atropine", 0.7, intents.Rival{Callout: "drug.adenosine", Confidence: 0.68}), "running pulse", Ask, "", false},
		{"v fib heard as a fib, in an arrest", open("rhythm.af", 0.94, intents.Rival{Callout: "rhythm.vf", Confidence: 0.93}),
			"running arrest", Accept, "rhythm.vf", true},
		{"a rival that the recogniser weighed", open("rhythm.check", 0.9, intents.Rival{Callout: "causes.review", Confidence: 0.9}),
			"running", Accept, "", true},
		{"a plug-in that decides for itself", intents.Result{Callout: "pulse.lost", Confidence: 0.1}, "running arrest", Accept, "", false},
	} {
		d := r.Decide(c.x, 0.6, View{Facts: facts(c.facts)})
		want := c.callout
		if want == "" {
			want = c.x.Callout
		}
		if d.Verdict != c.verdict || d.Result.Callout != want || d.Name != c.named {
			t.Errorf("%s: verdict %d of %s, named %v; want %d of %s, %v (%q)", c.name, d.Verdict, d.Result.Callout, d.Name, c.verdict,
				want, c.named, d.Why)
		}
	}
}

// "Undo it" counts only behind a sentence that says how: "and do it" sounds alike.
func TestUndoItIsAnAnswer(t *testing.T) {
	x := intents.Result{Callout: "undo", Text: "undo it", Answer: true, Confidence: 0.99, Open: true, Start: 100, End: 200, Decided: 300}
	if d := rules(t).Decide(x, 0.72, View{Facts: facts("running arrest")}); d.Verdict != Ignore {
		t.Errorf("behind nothing: %+v", d)
	}
	if d := rules(t).Decide(x, 0.72, View{Facts: facts("running arrest undo")}); d.Verdict != Accept {
		t.Errorf("behind \"same patient? Undo.\": %+v", d)
	}
}

// A yes settles what was asked about, and so does the same callout again, less surely
// heard; after ten seconds nothing does.
func TestAnswers(t *testing.T) {
	r := rules(t)
	about := open("compressions.stop", 0.4)
	at := func(x intents.Result, second int64) intents.Result {
		x.Start, x.End, x.Decided = (second-1)*intents.Rate, second*intents.Rate, second*intents.Rate
		return x
	}
	v := View{Facts: facts("running"), Open: &Question{At: 100 * intents.Rate, About: about, Rivals: []string{"compressions.start"}}}
	if d := r.Decide(at(open("refuse", 0.9), 103), 0.7, View{Facts: facts("running")}); d.Verdict != Ignore {
		t.Errorf("a no to nothing is %+v", d)
	}
	for _, c := range []struct {
		name    string
		x       intents.Result
		verdict Verdict
		callout string
	}{
		{"yes", at(open("confirm", 0.3), 103), Accept, "compressions.stop"},
		{"no", at(open("refuse", 0.8), 103), Accept, "refuse"},
		{"no, hardly heard", at(open("refuse", 0.2), 103), Ignore, "refuse"},
		{"again", at(open("compressions.stop", 0.3), 103), Accept, "compressions.stop"},
		{"the other one", at(open("compressions.start", 0.5), 103), Accept, "compressions.start"},
		{"something else", at(open("rhythm.check", 0.9), 103), Accept, "rhythm.check"},
		{"again, too late", at(open("compressions.stop", 0.3), 111), Ask, "compressions.stop"},
		{"noise", at(open("compressions.stop", 0.21), 103), Ignore, "compressions.stop"},
	} {
		if d := r.Decide(c.x, 0.6, v); d.Verdict != c.verdict || d.Result.Callout != c.callout {
			t.Errorf("%s: %d of %s, want %d of %s", c.name, d.Verdict, d.Result.Callout, c.verdict, c.callout)
		}
	}
}

// One stretch of speech is one callout: a longer phrase for the same sound, less surely heard
// than it would need, neither answers the question about it nor is logged beside it. What is
// said again, later, is. A yes from before the question answers nothing.
func TestOneSpeechOneCallout(t *testing.T) {
	r := rules(t)
	hear := func(callout string, confidence, start, end float64) intents.Result {
		x := open(callout, confidence)
		x.Start, x.End = int64(start*intents.Rate), int64(end*intents.Rate)
		x.Decided = x.End + intents.Rate/3
		return x
	}
	for _, c := range []struct {
		name        string
		first, then intents.Result
		want        [2]Verdict
	}{
		{"asked about, then longer", hear("rhythm.check", 0.4, 40, 41.6),
			hear("rhythm.check", 0.45, 40, 41.8), [2]Verdict{Ask, Ignore}},
		{"asked about, then longer and sure", hear("drug.epinephrine", 0.4, 40, 41.6),
			hear("drug.epinephrine", 0.9, 40, 41.8), [2]Verdict{Ask, Accept}},
		{"asked about, then longer and hardly surer", hear("drug.epinephrine", 0.4, 40, 41.6),
			hear("drug.epinephrine", 0.55, 40, 41.8), [2]Verdict{Ask, Ignore}},
		{"accepted, then longer", hear("drug.epinephrine", 0.9, 40, 41.6),
			hear("drug.epinephrine", 0.95, 40, 41.8), [2]Verdict{Accept, Ignore}},
		{"asked about, then said again", hear("drug.epinephrine", 0.4, 40, 41.6),
			hear("drug.epinephrine", 0.45, 44, 45.6), [2]Verdict{Ask, Accept}},
		{"two in one breath", hear("shock.given", 0.9, 40, 40.9),
			hear("compressions.start", 0.9, 40.85, 42), [2]Verdict{Accept, Accept}},
		{"a yes from before the question", hear("rhythm.check", 0.4, 40, 41.6),
			hear("confirm", 0.9, 41.6, 41.9), [2]Verdict{Ask, Ignore}},
		{"a yes", hear("rhythm.check", 0.4, 40, 41.6),
			hear("confirm", 0.9, 43, 43.3), [2]Verdict{Ask, Accept}},
	} {
		var m Memory
		for i, x := range []intents.Result{c.first, c.then} {
			if d := m.Hear(r, x, 0.6, facts("running arrest")); d.Verdict != c.want[i] {
				t.Errorf("%s: verdict %d of the %d. result, want %d (%q)", c.name, d.Verdict, i+1, c.want[i], d.Why)
			}
		}
	}
}

// What was told with a time that says nothing is not called now, however clearly it was heard:
// it is asked when it was, and the time settles it; a yes does not.
func TestTimes(t *testing.T) {
	r := rules(t)
	epi := open("drug.epinephrine", 0.95)
	epi.Start, epi.End, epi.When = 98*intents.Rate, 99*intents.Rate, "two minutes ago"
	if d := r.Decide(epi, 0.6, View{Facts: facts("running")}); d.Verdict != Accept || d.Result.When != epi.When {
		t.Errorf("a time that says when: %+v", d)
	}
	for _, decided := range []bool{false, true} {
		epi.When, epi.Open = "a while ago", !decided
		var m Memory
		if d := m.Hear(r, epi, 0.6, facts("running")); d.Verdict != Ask || !d.When {
			t.Fatalf("a time that says nothing, decided by the recogniser %v: %+v", decided, d)
		}
		after := func(callout, text string, second int64) intents.Result {
			x := open(callout, 0.9)
			x.Text, x.Start, x.End, x.Decided = text, second*intents.Rate, (second+1)*intents.Rate, (second+1)*intents.Rate
			return x
		}
		if d := m.Hear(r, after("confirm", "yes", 101), 0.6, facts("running")); d.Verdict != Ignore {
			t.Errorf("yes: %+v", d)
		}
		d := m.Hear(r, after("backdate", "that was three minutes ago", 103), 0.6, facts("running"))
		if d.Verdict != Accept || d.Result.Callout != epi.Callout || d.Result.When != "three minutes ago" {
			t.Errorf("its time: %+v", d)
		}
	}
	epi.When, epi.Open = "seconds ago", true // its number, half hidden by the callout, is heard with the time alone
	var m Memory
	m.Hear(r, epi, 0.6, facts("running"))
	x := open("backdate", 0.9)
	x.Text, x.Start, x.End = "thirty seconds ago", epi.End-intents.Rate/4, epi.End+intents.Rate
	if d := m.Hear(r, x, 0.6, facts("running")); d.Verdict != Accept || d.Result.When != x.Text || d.Result.Callout != epi.Callout {
		t.Errorf("the time in the same breath: %+v", d)
	}
}

// Of two that sound alike and mean the opposite, or that differ in a teen and a ten, neither is
// called: it is asked which. Saying it again as unclearly settles only a number; a yes nothing.
func TestWhichOfTwo(t *testing.T) {
	r := rules(t)
	at := func(x intents.Result, second int64) intents.Result {
		x.Start, x.End, x.Decided = second*intents.Rate, (second+1)*intents.Rate, (second+1)*intents.Rate
		return x
	}
	start := open("compressions.start", 0.92, intents.Rival{Callout: "compressions.stop", Confidence: 0.6})
	clear := open("compressions.stop", 0.94, intents.Rival{Callout: "compressions.start", Confidence: 0.25})
	can := open("pulse.absent", 0.98, intents.Rival{Callout: "pulse.present", Confidence: 0.96})
	dose := func(mg, or float64) intents.Result {
		x := open("drug.lidocaine", 0.8, intents.Rival{Callout: "drug.lidocaine", Confidence: 0.7, Values: map[string]float64{"dose_mg": or}})
		x.Values = map[string]float64{"dose_mg": mg}
		return x
	}
	digits := func(text string) intents.Result {
		x := open("confirm", 0.9)
		x.Text = text
		return x
	}
	for _, c := range []struct {
		name    string
		first   intents.Result
		which   string
		then    intents.Result
		verdict Verdict
		callout string
		mg      float64
	}{
		{"stop or start, then clear", start, "compressions", clear, Accept, "compressions.stop", 0},
		{"stop or start, then unclear again", start, "compressions", start, Ask, "compressions.start", 0},
		{"stop or start, then yes", start, "compressions", digits("yes"), Ignore, "confirm", 0},
		{"can or can't, then no pulse", can, "pulse", open("pulse.absent", 0.8), Accept, "pulse.absent", 0},
		{"can or can't, then a pulse", can, "pulse", open("pulse.present", 0.8), Accept, "pulse.present", 0},
		{"seventy or seventeen, then again", dose(70, 17), Number, dose(70, 17), Accept, "drug.lidocaine", 70},
		{"seventy or seventeen, then the other", dose(70, 17), Number, dose(17, 70), Ask, "drug.lidocaine", 17},
		{"seventy or seventeen, then one seven", dose(70, 17), Number, digits("one seven"), Accept, "drug.lidocaine", 17},
		{"seventy or seventeen, then seven zero", dose(70, 17), Number, digits("seven zero"), Accept, "drug.lidocaine", 70},
		{"seventy or seventeen, then five zero", dose(70, 17), Number, digits("five zero"), Ignore, "confirm", 0},
		{"one fifty or one fifteen", dose(150, 115), Number, digits("one five"), Accept, "drug.lidocaine", 115},
		{"a number for a yes", open("rhythm.check", 0.4), "", digits("one five"), Ignore, "confirm", 0},
	} {
		var m Memory
		d := m.Hear(r, at(c.first, 100), 0.6, facts("running"))
		if d.Verdict != Ask || d.Which != c.which {
			t.Errorf("%s: first %d, which %q", c.name, d.Verdict, d.Which)
		}
		d = m.Hear(r, at(c.then, 104), 0.6, facts("running"))
		if d.Verdict != c.verdict || d.Result.Callout != c.callout || d.Result.Values["dose_mg"] != c.mg && c.mg != 0 {
			t.Errorf("%s: then %d of %s %v, want %d of %s %v (%q)", c.name, d.Verdict, d.Result.Callout, d.Result.Values, c.verdict,
				c.callout, c.mg, d.Why)
		}
	}
}

// No fourth question in a minute.
func TestQuestionsAMinute(t *testing.T) {
	r, x := rules(t), open("rhythm.check", 0.45)
	x.Decided = 100 * intents.Rate
	v := View{Facts: facts("running"), Asked: []int64{39 * intents.Rate, 50 * intents.Rate, 60 * intents.Rate}}
	if d := r.Decide(x, 0.6, v); d.Verdict != Ask {
		t.Errorf("two questions in the last minute: %d", d.Verdict)
	}
	v.Asked[0] = 41 * intents.Rate
	if d := r.Decide(x, 0.6, v); d.Verdict != Ignore {
		t.Errorf("three questions in the last minute: %d", d.Verdict)
	}
}

// Every rule names a callout of the vocabulary; bad rules are named by file and line.
func TestRules(t *testing.T) {
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range rules(t).Callouts() {
		if !strings.HasSuffix(id, ".") && v.Find(id) == nil {
			t.Errorf("a rule is about %s, which nobody can say", id)
		}
	}
	for text, want := range map[string]string{
		"odds:\n  - {callout: undo, when: [clear], odds: 5, why: x}\n":       "o.yaml:2: odds of undo are 5, want 0.25 to 4",
		"odds:\n  - {callout: undo, when: [clear], odds: .nan, why: x}\n":    "o.yaml:2: odds of undo are NaN",
		"odds:\n\n  - {callout: undo, when: [not awake], odds: 2, why: x}\n": `o.yaml:3: undo: unknown fact "awake"`,
		"odds:\n  - {callout: undo, when: [clear], odds: 2}\n":               "o.yaml:2: undo: why is missing",
		"timeless:\n  - {callout: code., why: x}\n  - {callout: ask.}\n":     `o.yaml:3: timeless: "ask."`,
		"timeless:\n  - {callout: code., when: x}\n":                         `o.yaml:2: unknown key "when" in a timeless callout`,
		"odds:\n  - {callout: undo, odds: 2, why: x}\n":                      "o.yaml:2: undo: when is missing",
		"odds:\n  - {callout: Undo it, when: [clear], odds: 2, why: x}\n":    `o.yaml:2: callout "Undo it"`,
		"odds:\n  - {callout: undo, wenn: [clear], odds: 2, why: x}\n":       `o.yaml:2: unknown key "wenn"`,
		"rules: []\n": "o.yaml:1: ",
	} {
		if _, err := Parse("o.yaml", []byte(text)); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}

// Whatever the case, the odds stay within 1:4 and 4:1.
func TestOddsAreBounded(t *testing.T) {
	r := rules(t)
	for n := range 1 << len(known) {
		f := Facts{}
		for i, k := range known {
			f[k] = n>>i&1 == 1
		}
		for _, id := range r.Callouts() {
			if odds, _ := r.Odds(id, f); odds < leastOdds || odds > mostOdds {
				t.Fatalf("%s: %v in %v", id, odds, f)
			}
		}
	}
}

func FuzzRules(f *testing.F) {
	f.Add(oddsFile)
	f.Fuzz(func(t *testing.T, b []byte) {
		if r, err := Parse("x", b); err == nil {
			r.Odds("shock.given", Facts{"clear": true})
		}
	})
}

// Between "clear" and the shock, compressions must be surer: hands that go back are shocked.
func TestCompressionsAfterClear(t *testing.T) {
	r, x := rules(t), open("compressions.start", 0.6)
	if d := r.Decide(x, 0.5, View{Facts: facts("running arrest paused")}); d.Verdict != Accept {
		t.Errorf("in a pause: %d", d.Verdict)
	}
	if d := r.Decide(x, 0.5, View{Facts: facts("running arrest clear")}); d.Verdict == Accept {
		t.Error("after clear an unsure one is accepted")
	}
	x.Confidence = 0.9
	if d := r.Decide(x, 0.5, View{Facts: facts("running arrest paused clear")}); d.Verdict != Accept {
		t.Errorf("after clear a sure one: %d", d.Verdict)
	}
}

// A callout that is the end of a longer one is asked about while that one is near.
func TestEndOfALongerCallout(t *testing.T) {
	r, x := rules(t), open("rhythm.vt", 0.92)
	x.Text = "ventricular tachycardia"
	x.Rivals = []intents.Rival{{Callout: "rhythm.svt", Text: "supraventricular tachycardia", Confidence: 0.46}}
	if d := r.Decide(x, 0.6, View{Facts: facts("running pulse")}); d.Verdict != Ask || d.Name {
		t.Errorf("with the longer one near: %+v", d)
	}
	x.Rivals[0].Confidence = 0.25
	if d := r.Decide(x, 0.6, View{Facts: facts("running pulse")}); d.Verdict != Accept {
		t.Errorf("with the longer one far: %+v", d)
	}
}

// A time behind the end of a code is not of the dose before it.
func TestTimeBehindTheEndMovesNothing(t *testing.T) {
	r, ago := rules(t), open("backdate", 0.9)
	ago.Answer, ago.Text = true, "two minutes ago"
	for id, want := range map[string]Verdict{"code.end": Ignore, "drug.epinephrine": Accept} {
		var m Memory
		first := open(id, 0.95)
		first.Start, first.End, first.Decided = 100*intents.Rate, 101*intents.Rate, 101*intents.Rate
		m.Hear(r, first, 0.8, facts("running"))
		behind := ago
		behind.Start = m.last.End + 1
		behind.End, behind.Decided = behind.Start+intents.Rate, behind.Start+2*intents.Rate
		if d := m.Hear(r, behind, 0.6, facts("running")); d.Verdict != want {
			t.Errorf("behind %s: %d (%q), want %d", id, d.Verdict, d.Why, want)
		}
	}
}

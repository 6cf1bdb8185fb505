package rehearse

import (
	"math"
	"strings"
	"testing"

	"coxswain/intents"
	"coxswain/intents/decide"
)

func vocabulary(t *testing.T) (*intents.Vocabulary, *decide.Rules) {
	t.Helper()
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	r, err := decide.Load()
	if err != nil {
		t.Fatal(err)
	}
	return v, r
}

// Twenty phrases, each of the card, none with a number.
func TestLines(t *testing.T) {
	v, _ := vocabulary(t)
	lines := Lines(v)
	if len(lines) != 20 {
		t.Errorf("%d lines", len(lines))
	}
	for _, l := range lines {
		if c := v.Find(l.Callout); c == nil || strings.Contains(l.Text, "{") || instead(v, l) == l.Text {
			t.Errorf("%+v cannot be read", l)
		}
	}
}

// Each line gets what was heard of it, also where lines were left out, heard twice, or taken
// for another; what is unsure is weak, and is told another phrase.
func TestJudge(t *testing.T) {
	v, rules := vocabulary(t)
	say := func(callout string, sure float64) intents.Result {
		return intents.Result{Callout: callout, Text: callout, Confidence: sure, Open: true}
	}
	lines := []Line{{"code.start", "start the code"}, {"compressions.start", "resume compressions"},
		{"rhythm.check", "rhythm check"}, {"shock.given", "shock delivered"}, {"undo", "undo that"}}
	for _, c := range []struct {
		name    string
		results []intents.Result
		want    string
	}{
		{"all", []intents.Result{say("code.start", .9), say("compressions.start", .9), say("rhythm.check", .9), say("shock.given", .9),
			say("undo", .9)}, "heard heard heard heard heard"},
		{"nothing", nil, "lost lost lost lost lost"},
		{"one left out, one weak", []intents.Result{say("code.start", .9), say("rhythm.check", .4), say("shock.given", .9),
			say("undo", .9)}, "heard lost weak heard heard"},
		{"heard twice, the surer counts", []intents.Result{say("code.start", .4), say("code.start", .9), say("undo", .9)},
			"heard lost lost lost heard"},
		{"start taken for stop", []intents.Result{say("code.start", .9), say("compressions.stop", .9), say("rhythm.check", .9),
			say("undo", .3)}, "heard other heard lost weak"},
		{"what is far from it is no other", []intents.Result{say("code.start", .9), say("compressions.stop", .25), say("rhythm.check", .9)},
			"heard lost heard lost lost"},
	} {
		r := Judge(v, rules, lines, c.results, Levels{VoiceDB: -20, RoomDB: -60})
		var got []string
		for _, x := range r.Readings {
			got = append(got, x.Verdict)
			if (x.Verdict == Heard) != (x.Instead == "") {
				t.Errorf("%s: %q was %s and is told %q", c.name, x.Text, x.Verdict, x.Instead)
			}
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// A sine at a tenth of full scale over half a second of each two: voice and room in dB, by
// their definition, and the advice for each fault of the levels.
func TestLevels(t *testing.T) {
	tone := func(amplitude, room float64) Levels {
		var m Meter
		pcm := make([]int16, 10*intents.Rate)
		for i := range pcm {
			a := room
			if i/(intents.Rate/2)%4 == 0 {
				a = amplitude
			}
			pcm[i] = int16(max(-32768, min(32767, math.Round(32768*a*math.Sin(float64(i))))))
		}
		m.Hear(pcm)
		return m.Levels()
	}
	if l := tone(.1, .001); math.Abs(l.VoiceDB+23) > 1 || math.Abs(l.RoomDB+63) > 1 || l.Clipped != 0 {
		t.Errorf("a tenth of full scale: %+v, want -23, -63", l)
	}
	for _, c := range []struct {
		at   Levels
		want string
	}{
		{tone(2, .001), "turn the microphone down"}, {tone(.002, .0001), "very quiet"}, {tone(.1, .05), "on the collar"},
		{Levels{VoiceDB: -20, RoomDB: -60}, "say them slower"},
	} {
		r := Report{Levels: c.at, Readings: []Reading{{Verdict: Lost}}}
		if got := strings.Join(r.advise(), "\n"); !strings.Contains(got, c.want) {
			t.Errorf("%+v: %q, want %q", c.at, got, c.want)
		}
	}
	if l := (&Meter{}).Levels(); l.VoiceDB != silentDB {
		t.Errorf("of no sound: %+v", l)
	}
}

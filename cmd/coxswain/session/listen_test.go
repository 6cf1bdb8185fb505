package session

import (
	"fmt"
	"strings"
	"testing"

	"coxswain/intents"
	"coxswain/timeline"
)

// mayBe is an open result: what may have been said, with its confidence.
func mayBe(id string, second int, confidence float64, rivals ...intents.Rival) intents.Result {
	r := heardAt(id, second)
	r.Open, r.Confidence, r.Text, r.Rivals = true, confidence, strings.ReplaceAll(id, ".", " "), rivals
	return r
}

func forbidden(r intents.Result, why string) intents.Result {
	r.Forbidden = why
	return r
}

// A whole session as a listener hears it: what is sure is logged, what is not is asked
// about and settled by a yes or a repeat, what the case makes unlikely is doubted, and
// what is forbidden or far from a callout is met with silence.
func TestListensToACase(t *testing.T) {
	_, records := evening(t, 200, nil,
		mayBe("rhythm.check", 2, 0.4), // no case runs: nothing is asked
		mayBe("code.start", 5, 0.9),   //
		mayBe("compressions.start", 10, 0.9),
		forbidden(mayBe("drug.epinephrine", 15, 0.99), "negation"), // "epinephrine has not been given"
		mayBe("pulse.lost", 20, 0.7),                               // nobody felt one: asked, not answered
		mayBe("compressions.stop", 40, 0.36),                       // asked: stop is not sure enough, even while they run
		mayBe("confirm", 43, 0.6),                                  // yes
		mayBe("shock.clear", 50, 0.9),
		mayBe("shock.given", 55, 0.45), // after clear: likely enough
		mayBe("compressions.start", 60, 0.9),
		mayBe("drug.atropine", 70, 0.63, intents.Rival{Callout: "drug.epinephrine", Text: "adrenaline given", Confidence: 0.6}),
		mayBe("airway.secured", 80, 0.3), // asked
		mayBe("airway.secured", 84, 0.4), // said again
		mayBe("access.iv", 90, 0.35),     // asked, the third time within a minute
		mayBe("access.io", 95, 0.4),      // the fourth: silence
		mayBe("confirm", 120, 0.9),       // nothing was asked
		mayBe("rhythm.check", 150, 0.21), // far from it
	)
	var got []string
	for _, e := range records[0].events {
		switch {
		case e.Kind.IsCallout():
			got = append(got, fmt.Sprintf("%.0f %s", e.At.Seconds(), e.Kind))
		case e.Kind == timeline.Question:
			got = append(got, fmt.Sprintf("%.0f ? %s %s", e.At.Seconds(), e.Cue, e.Text))
		case e.Kind == timeline.CueSpoken && strings.HasPrefix(e.Cue, "hear."):
			got = append(got, "aloud: "+e.Sentence)
		}
	}
	want := `5 code.start
10 compressions.start
20 ? hear.sure pulse.lost
aloud: Loss of the pulse Yes?
40 ? hear.sure compressions.stop
aloud: Pause Yes?
40 compressions.stop
50 shock.clear
55 shock.given
60 compressions.start
70 drug.epinephrine
80 ? hear.sure airway.secured
aloud: Airway Yes?
84 airway.secured
90 ? hear.sure access.iv
aloud: I V access Yes?`
	if text := strings.Join(got, "\n"); text != want {
		t.Errorf("the session went\n%s\nwant\n%s", text, want)
	}
}

// What is told with its time stands at that time, by one answer that says so; a time that says
// nothing, or has not come yet, is asked for, and a time alone answers. Nothing of it stands now.
func TestTimesAreHeard(t *testing.T) {
	when := func(r intents.Result, words string) intents.Result {
		r.When = words
		return r
	}
	alone := func(words string, second int) intents.Result {
		r := mayBe("backdate", second, 0.9)
		r.Text, r.Answer = words, true
		return r
	}
	_, records := evening(t, 700, nil,
		mayBe("code.start", 5, 0.9),
		mayBe("compressions.start", 10, 0.9),
		when(mayBe("drug.epinephrine", 305, 0.9), "two minutes ago"),
		when(mayBe("airway.secured", 320, 0.9), "at four minutes"),
		when(mayBe("drug.amiodarone", 350, 0.9), "a while ago"), // asked
		mayBe("confirm", 353, 0.9),                              // no time
		alone("five minutes ago", 356),
		when(mayBe("access.iv", 400, 0.9), "at nine minutes"), // not yet: asked, not answered
		mayBe("drug.lidocaine", 500, 0.4),                     // asked about
		alone("two minutes ago", 502),                         // in the same breath
		mayBe("confirm", 505, 0.9),
		mayBe("drug.calcium", 600, 0.9),
		alone("one minute ago", 602), // a pause between
		alone("one minute ago", 650), // of nothing
		when(mayBe("patient.adult", 660, 0.9), "two minutes ago"),
	)
	var got []string
	gone := timeline.Retracted(records[0].events)
	for _, e := range records[0].events {
		switch {
		case e.Kind.IsCallout() && !e.Kind.Row().Control && !gone[e.Seq]:
			got = append(got, fmt.Sprintf("%.0f %s", e.At.Seconds(), e.Kind))
		case e.Kind == timeline.CueSpoken && (strings.HasPrefix(e.Cue, "hear.") || e.Cue == "backdated"):
			got = append(got, "aloud: "+e.Sentence)
		}
	}
	want := `5 code.start
10 compressions.start
185 drug.epinephrine
aloud: Moved back Epinephrine. To three minutes
245 airway.secured
aloud: Moved back Airway To four minutes
aloud: Amiodarone. How many minutes ago?
50 drug.amiodarone
aloud: Moved back Amiodarone. To forty five seconds
aloud: I V access How many minutes ago?
aloud: Lidocaine. Yes?
380 drug.lidocaine
aloud: Moved back Lidocaine. To six minutes fifteen seconds Question. Amiodarone. As well?
542 drug.calcium
aloud: Moved back Calcium To eight minutes fifty seven seconds
660 patient.adult`
	if text := strings.Join(got, "\n"); text != want {
		t.Errorf("the session went\n%s\nwant\n%s", text, want)
	}
}

// Which of two that sound alike it was is asked with both named, and answered digit by digit or
// by its name; until then nothing of it stands.
func TestWhichOfTwoIsAsked(t *testing.T) {
	dose := mayBe("drug.lidocaine", 60, 0.8, intents.Rival{Callout: "drug.lidocaine", Text: "lidocaine seventeen milligrams given",
		Confidence: 0.7, Values: map[string]float64{"dose_mg": 17}})
	dose.Values = map[string]float64{"dose_mg": 70}
	digits := mayBe("confirm", 67, 0.9)
	digits.Text, digits.Answer = "one seven", true
	_, records := evening(t, 200, nil,
		mayBe("code.start", 5, 0.9),
		mayBe("compressions.start", 10, 0.9),
		mayBe("compressions.start", 30, 0.92, intents.Rival{Callout: "compressions.stop", Confidence: 0.6}),
		mayBe("compressions.stop", 36, 0.9),
		dose,
		digits,
		mayBe("pulse.absent", 130, 0.98, intents.Rival{Callout: "pulse.present", Confidence: 0.96}),
	)
	var got []string
	for _, e := range records[0].events {
		switch {
		case e.Kind.IsCallout():
			got = append(got, e.Describe())
		case e.Kind == timeline.CueSpoken && strings.HasPrefix(e.Cue, "hear."):
			got = append(got, "aloud: "+e.Sentence)
		}
	}
	want := `code.start
compressions.start
aloud: Compressing, or not?
compressions.stop
aloud: Lidocaine. One seven, or seven zero?
drug.lidocaine dose_mg=17
aloud: Pulse, or none?`
	if text := strings.Join(got, "\n"); text != want {
		t.Errorf("the session went\n%s\nwant\n%s", text, want)
	}
}

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

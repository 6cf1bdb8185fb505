package session

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"coxswain/audio"
	"coxswain/timeline"
)

// A code that is started, or another patient who is called, behind an end that was a
// mistake: "undo" goes back to the record before, with its doses and clock, and the
// time between is silence in it. So it does with what was called within moments behind "same patient?",
// but not where another patient was called, or once that is over.
func TestGoBackToThePatientBefore(t *testing.T) {
	for _, next := range []string{"code.start", "patient.next"} {
		s, records := evening(t, 60, nil, heardAt("code.start", 5), heardAt("compressions.start", 8),
			valued("drug.epinephrine", 10, "dose_mg", 1), heardAt("code.end", 20), heardAt("confirm", 23), heardAt(next, 30),
			heardAt("undo", 35), heardAt("ask.time", 50))
		st := s.now.machine.State()
		if len(st.Given["epinephrine"]) != 1 || st.Ended != timeline.Never || !st.Compressing {
			t.Errorf("%s: the case before does not go on: %+v", next, st)
		}
		got := strings.Join(kindsOf(records[0]), " ")
		if want := "code.start compressions.start drug.epinephrine code.end confirm " + next + " undo ask.time"; got != want {
			t.Errorf("%s: the record holds %q, want %q", next, got, want)
		}
		if n := len(records[0].room); n < 59*audio.Rate || records[0].room[32*audio.Rate] != 0 {
			t.Errorf("%s: %v of sound; what was heard of another patient is silence", next, audio.Duration(int64(n)))
		}
		if !slices.ContainsFunc(records[0].events, func(e timeline.Event) bool {
			return e.Cue == "reopened" && strings.HasPrefix(e.Sentence, "End taken back. Code time thirty")
		}) {
			t.Errorf("%s: nobody is told", next)
		}
	}
	for _, c := range []struct {
		next string
		undo int
		back bool
	}{{"code.start", 33, true}, {"code.start", 60, false}, {"patient.next", 33, false}} {
		s, records := evening(t, c.undo+7, nil, heardAt("code.start", 5), valued("drug.epinephrine", 10, "dose_mg", 1),
			heardAt("code.end", 20), heardAt("confirm", 23), heardAt(c.next, 26), heardAt("compressions.start", 28),
			heardAt("shock.given", 30), heardAt("undo", c.undo))
		st := s.now.machine.State()
		if back := len(st.Given) == 1 && len(st.Shocks) == 1; len(records) != 2 || back != c.back || st.Ended != timeline.Never {
			t.Errorf("%s, undo at %d s: %d records, the last holds %+v", c.next, c.undo, len(records), st)
		}
	}
}

// Under the sentence that offers it an undo is heard, though nothing has begun the case but a rhythm.
func TestUndoUnderItsOffer(t *testing.T) {
	it := heardAt("undo", 92)
	it.Text, it.Answer, it.Open, it.Confidence = "undo it", true, true, 0.85
	s, _ := evening(t, 96, nil, heardAt("code.start", 5), heardAt("pulse.present", 10), heardAt("code.end", 20),
		heardAt("confirm", 23), heardAt("rhythm.vt", 90), it)
	if st := s.now.machine.State(); st.Ended != timeline.Never || st.Started == timeline.Never || st.Rhythm != timeline.VT {
		t.Errorf("the case before does not go on: %+v", st)
	}
}

// "New patient" behind an end closes the record and begins none; while a code runs it
// changes nothing.
func TestNewPatient(t *testing.T) {
	_, records := evening(t, 200, nil, heardAt("code.start", 5), valued("patient.weight", 8, "weight_kg", 20),
		heardAt("patient.next", 15), heardAt("code.end", 20), heardAt("confirm", 23), heardAt("patient.next", 30),
		heardAt("code.start", 190))
	if len(records) != 2 || len(kindsOf(records[1])) != 1 {
		t.Fatalf("%d records", len(records))
	}
	if got := records[1].events[0].Session.Former; got != "" {
		t.Errorf("the second names %q as a moment before", got)
	}
}

// An answer that waits is made anew on the clock of its record, which begins when the
// case does: "what is next" tells the same whether nobody called anything for 100 s before
// or the record begins with the session.
func TestAnswersKeepTheRecordsClock(t *testing.T) {
	for _, begin := range []int{5, 105} {
		_, records := evening(t, begin+50, nil, heardAt("compressions.start", begin), heardAt("ask.next", begin+10),
			heardAt("ask.time", begin+40))
		var said []string
		for _, e := range records[0].events {
			if e.Kind == timeline.CueSpoken && (strings.HasPrefix(e.Cue, "next.") || strings.HasPrefix(e.Cue, "answer.")) {
				said = append(said, e.Sentence)
			}
		}
		want := "[thirty seconds until the next look Code time forty seconds]"
		if got := fmt.Sprint(said); got != want {
			t.Errorf("a case that begins at %d s: %s, want %s", begin, got, want)
		}
	}
}

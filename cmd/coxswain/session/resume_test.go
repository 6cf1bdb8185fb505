package session

import (
	"errors"
	"slices"
	"testing"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// After a resume the session, the machine and whoever read the record have each
// their own list of events: every callout is shown once and no prompt is lost,
// whatever capacity the list that was read had to spare.
func TestResumedSessionHasItsOwnEvents(t *testing.T) {
	o := testOptions(t, t.TempDir()+"/r", heardAt("compressions.start", 1), heardAt("access.iv", 4))
	was := make([]timeline.Event, 0, 100)
	was = append(was, timeline.Event{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{Rate: timeline.Rate}},
		timeline.Event{Seq: 2, At: timeline.Seconds(2), Kind: timeline.CodeStart, Heard: &timeline.Heard{}})
	o.Resume = Resume{
		Kept: Kept{Name: "cut", Journal: nowhere{}, Sound: nowhere{}, Events: was},
		Had:  5 * audio.Rate,
		Pos:  20 * audio.Rate,
	}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	quiet(s, 7)
	_ = append(was, timeline.Event{Kind: "not ours"}) // what the caller does with its list
	s.show()
	if n := s.Latest().Load().Callouts; n != 3 {
		t.Errorf("the status counts %d callouts, want 3", n)
	}
	var shown []string
	for _, l := range s.Latest().Load().Last {
		shown = append(shown, l.Text)
	}
	if want := []string{"IV access", "compressions started", "code started"}; !slices.Equal(shown, want) {
		t.Errorf("the wall lists %q, want %q", shown, want)
	}
	for i, e := range s.now.events {
		if e.Seq != uint64(i+1) {
			t.Errorf("event %d has number %d: %s", i+1, e.Seq, e.Describe())
		}
	}
	if n := len(cuesOf(s.now.events)); n != 3 { // the cut, and two read-backs
		t.Errorf("%d prompts in the list, want 3", n)
	}
}

// A case that was cut off and cannot go on is told of in the room, before anything else: its times are
// gone, and the next callout begins a new one.
func TestLostCaseIsSaid(t *testing.T) {
	o := testOptions(t, t.TempDir()+"/r")
	o.Resume = Resume{Lost: true}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	quiet(s, 15)
	if ids := cuesOf(s.now.events); !slices.Equal(ids, []string{"fault.case", "opening"}) {
		t.Errorf("said %q", ids)
	}
}

// A case whose first record cannot be gone on with is written anew, with what was called before; the team
// is told that it goes on, and of its record.
func TestCaseGoesOnInAnotherRecord(t *testing.T) {
	dir := t.TempDir() + "/r"
	o := testOptions(t, dir, heardAt("access.iv", 4))
	was := []timeline.Event{
		{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{Rate: timeline.Rate, Wall: "2000-01-01T12:00:00Z"}},
		{Seq: 2, At: timeline.Seconds(2), Kind: timeline.CodeStart, Heard: &timeline.Heard{}},
		{Seq: 3, At: timeline.Seconds(3), Kind: "drug.epinephrine", Values: map[string]float64{"dose_mg": 1}, Heard: &timeline.Heard{}},
	}
	o.Resume = Resume{Kept: Kept{Name: "cut", Events: was}, Had: 5 * audio.Rate, Pos: 20 * audio.Rate, Anew: errors.New("no sound")}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	quiet(s, 15)
	if name := s.Latest().Load().Record; name != "r-2" {
		t.Errorf("the status names %q, which is written no more", name)
	}
	st := s.now.machine.State()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	r, err := record.Open(dir + "-2")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := r.Verify(); err != nil {
		t.Error(err)
	}
	if !st.Running() || len(st.Doses("epinephrine")) != 1 {
		t.Errorf("it knows of the case: %v; of doses: %d", st.Running(), len(st.Doses("epinephrine")))
	}
	ids := cuesOf(r.Events)
	if r.Events[2].Kind != "drug.epinephrine" || countOf(r.Events, "access.iv", "") != 1 || len(ids) < 3 ||
		!slices.Contains(ids, "resumed") || !slices.Contains(ids, "fault.disk") {
		t.Errorf("%d events, said %q", len(r.Events), ids)
	}
	if l, err := recorder.Open(dir + "-2"); err != nil || l.Samples() != 35*audio.Rate {
		t.Errorf("%d samples of sound: %v", l.Samples(), err)
	}
}

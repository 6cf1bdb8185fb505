package session

import (
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/intents"
	"coxswain/timeline"
)

// shelf keeps records in memory.
type shelf struct {
	mu   sync.Mutex
	list []*memory
}

// memory is a record in memory.
type memory struct {
	wall   time.Time
	events []timeline.Event
	room   []float32
	closed int
}

func (m *memory) AppendAll(events []timeline.Event) error {
	m.events = append(m.events, events...)
	return nil
}
func (m *memory) Write(room, _ []float32) error { m.room = append(m.room, room...); return nil }
func (m *memory) Mark(recorder.Mark)            {}
func (m *memory) Close() error                  { m.closed++; return nil }

func (s *shelf) begin(b Beginning) (Kept, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	m := &memory{wall: b.Wall}
	s.list = append(s.list, m)
	return Kept{Name: b.Wall.Format("150405"), Journal: m, Sound: m}, nil
}

// evening runs a session for so many seconds in which these callouts are heard,
// and returns its records. The room's sample is the second that it belongs to,
// over 10,000.
func evening(t *testing.T, seconds int, change func(*Options), said ...intents.Result) (*Session, []*memory) {
	if testing.Short() {
		t.Skip("minutes of sound, and no goroutine")
	}
	t.Helper()
	kept := &shelf{}
	o := testOptions(t, t.TempDir(), said...)
	o.Always, o.Echo, o.Before, o.Silence, o.Begin = false, false, time.Minute, 20*time.Minute, kept.begin
	if change != nil {
		change(&o)
	}
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	var room, speaker [audio.Block]float32
	for k := range seconds * 100 {
		for i := range room {
			room[i] = float32(k/100) / 10000
		}
		copy(speaker[:], s.Step(room[:], speaker[:]))
		if !s.now.kept() && len(s.now.events) > 1000 {
			t.Fatal("events gather between cases")
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	for _, m := range kept.list {
		if m.closed != 2 || m.events[0].Kind != timeline.SessionOpen ||
			m.events[len(m.events)-1].Kind != timeline.SessionClose {
			t.Errorf(
				"record of %v: closed %d times, first event %s, last %s",
				m.wall,
				m.closed,
				m.events[0].Kind,
				m.events[len(m.events)-1].Kind,
			)
		}
		for i, e := range m.events {
			if e.Seq != uint64(i+1) || e.At < 0 || int64(e.At) > int64(len(m.room)) {
				t.Errorf(
					"event %d of %d has number %d and lies at %s of %v",
					i+1,
					len(m.events),
					e.Seq,
					e.At,
					audio.Duration(int64(len(m.room))),
				)
			}
		}
	}
	return s, kept.list
}

// valued is a callout with a number.
func valued(id string, second int, slot string, value float64) intents.Result {
	r := heardAt(id, second)
	r.Values = map[string]float64{slot: value}
	return r
}

func kindsOf(m *memory) []string {
	var out []string
	for _, e := range m.events {
		if e.Kind.IsCallout() {
			out = append(out, string(e.Kind))
		}
	}
	return out
}

// Two patients on one evening: two records, each with the minute of sound
// before it, nothing between them, and nothing of the first in the second.
func TestOneCaseOneRecord(t *testing.T) {
	s, records := evening(
		t,
		900,
		nil,
		heardAt("ask.next", 60), // no patient: no record
		heardAt(
			"code.start",
			100,
		),
		valued("patient.weight", 110, "weight_kg", 20),
		heardAt("patient.child", 115),
		heardAt("compressions.start", 120),
		heardAt("airway.secured", 130),
		valued("drug.epinephrine", 140, "dose_mg", 0.2),
		heardAt("code.end", 200),
		heardAt("confirm", 203),
		heardAt("code.start", 500),
		heardAt("compressions.start", 510),
		heardAt("ask.dose.epinephrine", 520),
	)
	if len(records) != 2 {
		t.Fatalf("%d records, want 2", len(records))
	}
	first, second := records[0], records[1]
	begun := s.o.Wall
	for _, c := range []struct {
		m          *memory
		at, length float64 // of the session; the ear decides 0.2 s after the phrase
		kinds      string
	}{
		{first, 40.2, 323 - 40.2, "code.start patient.weight patient.child compressions.start airway.secured drug.epinephrine code.end confirm"},
		{second, 440.2, 900 - 440.2, "code.start compressions.start ask.dose.epinephrine"},
	} {
		at, length := c.m.wall.Sub(begun).Seconds(), audio.Duration(int64(len(c.m.room))).Seconds()
		if at < c.at-0.1 || at > c.at+0.1 || length < c.length-0.5 || length > c.length+6 {
			t.Errorf("a record from %.1f s on, of %.1f s; want %.1f and about %.1f", at, length, c.at, c.length)
		}
		if got := strings.Join(kindsOf(c.m), " "); got != c.kinds {
			t.Errorf("callouts %q, want %q", got, c.kinds)
		}
		soundIsOfItsMoment(t, c.m, at)
	}
	for _, e := range second.events {
		if e.Kind == timeline.CueSpoken && e.Cue == "dose" && !strings.Contains(e.Sentence, "one milligram") {
			t.Errorf("the second patient is answered with the first one's weight: %s", e.Sentence)
		}
		if int64(e.At) < 60*audio.Rate && e.Heard == nil && e.Kind != timeline.SessionOpen {
			t.Errorf("of before the second case: %s %s", e.At, e.Describe())
		}
	}
	if st := s.now.machine.State(); st.WeightKg != 0 || st.AirwayAt != timeline.Never || len(st.Given) != 0 {
		t.Errorf("the second patient inherits %+v", st)
	}
}

// soundIsOfItsMoment holds a record that begins at a second of the session to
// the samples of evening.
func soundIsOfItsMoment(t *testing.T, m *memory, at float64) {
	t.Helper()
	for i := audio.Rate / 2; i < len(m.room); i += audio.Rate {
		want := float32(int(at+float64(i)/audio.Rate)) / 10000
		if off := m.room[i] - want; off > 1.5e-4 || off < -1.5e-4 {
			t.Fatalf("%.1f s into the record: sound of second %.0f, want %.0f", float64(i)/audio.Rate, m.room[i]*10000, want*10000)
		}
	}
}

// A start that follows the confirmed end at once is the next patient's.
func TestNextPatientAtOnce(t *testing.T) {
	_, records := evening(
		t,
		40,
		nil,
		heardAt("code.start", 5),
		valued("patient.weight", 8, "weight_kg", 20),
		heardAt("code.end", 12),
		heardAt("confirm", 15),
		heardAt("code.start", 18),
	)
	if len(records) != 2 || strings.Join(kindsOf(records[1]), " ") != "code.start" {
		t.Fatalf("%d records", len(records))
	}
	if n := len(records[1].room); n > 25*audio.Rate {
		t.Errorf("the second record has %v: sound of the first case is in it", audio.Duration(int64(n)))
	}
	first := records[0].wall.Format("150405")
	if got := records[1].events[0].Session.Former; got == "" || !strings.HasSuffix(got, first) {
		t.Errorf("the second record names %q as the one before it, want %s", got, first)
	}
	if !slices.ContainsFunc(records[1].events, func(e timeline.Event) bool { return e.Cue == "said.code.start.next" }) {
		t.Error("nobody is told that it is a new patient")
	}
}

// An end that was misheard while somebody compresses goes on in the same record:
// by an undo, or with the next compressions.
func TestMistakenEndGoesOn(t *testing.T) {
	for _, again := range []string{"undo", "compressions.start"} {
		s, records := evening(t, 130, nil, heardAt("code.start", 5), heardAt("compressions.start", 8),
			valued("patient.weight", 10, "weight_kg", 20), heardAt("code.end", 20), heardAt("confirm", 23), heardAt(again, 100))
		if len(records) != 1 {
			t.Fatalf("%s: %d records, want 1", again, len(records))
		}
		st := s.now.machine.State()
		if st.Ended != timeline.Never || !st.Metronome(s.now.now()) || st.WeightKg != 20 || st.CodeAt() > timeline.Seconds(60) {
			t.Errorf("%s: the case does not go on: %+v", again, st)
		}
		if !slices.ContainsFunc(records[0].events, func(e timeline.Event) bool {
			return e.Kind == timeline.CueSpoken && strings.Contains(e.Sentence, "End taken back")
		}) {
			t.Errorf("%s: nobody is told", again)
		}
	}
}

// A start that was not heard does not cost the record: whatever shows that there
// is a patient begins it. Questions, orders and an end do not.
func TestWhatBeginsARecord(t *testing.T) {
	for id, want := range map[string]int{
		"code.start": 1, "compressions.start": 1, "shock.given": 1, "drug.epinephrine": 1, "rhythm.vf": 1, "pulse.absent": 1,
		"patient.unstable": 1, "access.iv": 1,
		"patient.weight": 1, "ask.next": 0, "ask.time": 0, "quiet": 0, "undo": 0, "confirm": 0, "code.end": 0, "say.again": 0,
	} {
		if _, records := evening(t, 8, nil, heardAt(id, 4)); len(records) != want {
			t.Errorf("%s: %d records, want %d", id, len(records), want)
		}
	}
}

// A case that nobody ends is asked for, and ends; an answer keeps it open, and
// so do compressions.
func TestSilentCaseEnds(t *testing.T) {
	short := func(o *Options) { o.Silence = 4 * time.Minute }
	asked := func(m *memory) (n int) {
		for _, e := range m.events {
			if e.Kind == timeline.CueSpoken && e.Cue == "case.silent" {
				n++
			}
		}
		return n
	}
	for _, c := range []struct {
		name    string
		said    []intents.Result
		records int
		asked   int
		ends    float64 // about; 0: with the session
	}{
		{"silence", []intents.Result{heardAt("patient.unstable", 4)}, 1, 1, 4 + 240},
		{"an answer", []intents.Result{heardAt("patient.unstable", 4), heardAt("ask.time", 200)}, 1, 2, 200 + 240},
		{"compressions", []intents.Result{heardAt("compressions.start", 4)}, 1, 0, 0},
	} {
		_, records := evening(t, 600, short, c.said...)
		if len(records) != c.records {
			t.Fatalf("%s: %d records, want %d", c.name, len(records), c.records)
		}
		m := records[0]
		ended := audio.Duration(int64(len(m.room))).Seconds()
		if n := asked(m); n != c.asked || c.ends != 0 && (ended < c.ends-2 || ended > c.ends+6) ||
			c.ends == 0 && ended < 599 {
			t.Errorf("%s: asked %d times, want %d; ends at %.0f s, want %.0f", c.name, n, c.asked, ended, c.ends)
		}
	}
}

// A case that silence ended may go on: who calls then hears that it counts as a new patient,
// and an undo leads back, with what was called. Before it, nothing that was given is told of
// nobody.
func TestSilentCaseGoesOn(t *testing.T) {
	short := func(o *Options) { o.Silence, o.Before, o.Echo = 30*time.Second, 5*time.Second, false }
	said := func(m *memory) (out string) {
		for _, e := range m.events {
			if e.Kind == timeline.CueSpoken {
				out += e.Sentence + " | "
			}
		}
		return out
	}
	first := []intents.Result{heardAt("rhythm.vf", 4), heardAt("shock.given", 6), valued("drug.epinephrine", 10, "dose_mg", 1)}
	s, records := evening(t, 90, short, append(first, heardAt("ask.shocks", 50), valued("drug.epinephrine", 62, "dose_mg", 1),
		heardAt("undo", 70), heardAt("ask.shocks", 80))...)
	if len(records) != 2 || len(records[0].room) < 89*audio.Rate {
		t.Fatalf("%d records, the first of %v", len(records), audio.Duration(int64(len(records[0].room))))
	}
	if got, want := said(records[1]), "Epinephrine one milligram New case. Same patient?"; !strings.Contains(got, want) {
		t.Errorf("nobody is told that it counts as a new patient: %s", got)
	}
	if st := s.now.machine.State(); len(st.Given["epinephrine"]) != 2 || len(st.Shocks) != 1 {
		t.Errorf("the case before does not go on with what was called: %+v", st)
	}
	got := said(records[0])
	if !strings.Contains(got, "End taken back. Code time one minute six seconds Epinephrine") ||
		!strings.Contains(got, "one milligram | one shock | ") {
		t.Errorf("nobody is told that the case before goes on: %s", got)
	}
	it := heardAt("undo", 72)
	it.Text, it.Answer = "undo it", true
	s, _ = evening(t, 90, short, append(first, heardAt("shock.given", 62), heardAt("rhythm.asystole", 65), it)...)
	if st := s.now.machine.State(); len(st.Shocks) != 2 || len(st.Given["epinephrine"]) != 1 || st.Rhythm != timeline.Asystole {
		t.Errorf("it does not go on once more was called: %+v", st)
	}
	_, records = evening(t, 90, short, append(first, heardAt("rhythm.asystole", 62))...)
	if got, want := said(records[1]), "Asystole Compress. New case. Same patient?"; !strings.Contains(got, want) {
		t.Errorf("behind a rhythm nobody is told: %s", got)
	}
	_, records = evening(t, 90, short, append(first, heardAt("shock.given", 80))...)
	if strings.Contains(said(records[1]), "Same patient") {
		t.Error("it is said longer than the way back is open")
	}
	for end, want := range map[int]bool{61: false, 70: true} { // an undo is offered in a part of a read-back
		s, _ := evening(t, end, short, append(first, heardAt("shock.given", 62))...)
		if s.now.facts()["undo"] != want {
			t.Errorf("after %d s an undo is offered: %v", end, !want)
		}
	}
}

// A start without a voice begins the case; a second one changes nothing.
func TestStartByHand(t *testing.T) {
	kept := &shelf{}
	o := testOptions(t, t.TempDir())
	o.Always, o.Before, o.Begin = false, time.Minute, kept.begin
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	var block [audio.Block]float32
	for k := range 1500 {
		if k == 700 || k == 900 {
			s.Start()
		}
		s.Step(block[:], block[:])
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if len(kept.list) != 1 || !slices.Equal(kindsOf(kept.list[0]), []string{"code.start"}) ||
		len(kept.list[0].room) != 15*audio.Rate {
		t.Errorf("%d records", len(kept.list))
	}
	read := false
	for _, e := range kept.list[0].events {
		read = read || e.Kind == timeline.CueSpoken && e.Cue == "said.code.start"
	}
	if !read {
		t.Error("the start is not read back")
	}
}

// A record that runs always begins anew with each case all the same.
func TestRecordAlways(t *testing.T) {
	_, records := evening(
		t,
		160,
		func(o *Options) { o.Always, o.Before = true, 0 },
		heardAt("code.start", 5),
		heardAt("code.end", 10),
		heardAt("confirm", 13),
	)
	if len(records) != 2 {
		t.Fatalf("%d records, want 2", len(records))
	}
	if n := len(records[0].room) + len(records[1].room); n != 160*audio.Rate {
		t.Errorf("%v of sound in both, want 160 s", audio.Duration(int64(n)))
	}
}

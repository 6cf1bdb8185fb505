package review

import (
	"encoding/json"
	"strings"
	"testing"

	"coxswain/timeline"
	"coxswain/timeline/figures"
)

// What people read of a record of a European protocol is in its words, as what was
// spoken; of an American one it is not.
func TestRecordIsReadInItsProtocolsWords(t *testing.T) {
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	for protocol, want := range map[string][2]string{"erc-2025": {"adrenaline", "epinephrine"}, "aha-2025": {"epinephrine", "adrenaline"}} {
		r := Of([]timeline.Event{
			{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{Protocol: protocol + " 00ff", Wall: "2030-01-01T00:00:00Z"}},
			{Seq: 2, Kind: timeline.CompressionsStart, At: timeline.Seconds(2)},
			{Seq: 3, Kind: timeline.RhythmPEA, At: timeline.Seconds(10)},
			{Seq: 4, Kind: timeline.Epinephrine, At: timeline.Seconds(20), Values: map[string]float64{"dose_mg": 1}},
			{Seq: 5, Kind: timeline.SessionClose, At: timeline.Seconds(60)},
		}, defs)
		var read []string
		for _, x := range r.Rows {
			read = append(read, x.Text)
		}
		for _, x := range r.Drugs {
			read = append(read, x.Drug)
		}
		for _, x := range r.Story {
			read = append(read, x.String())
		}
		for _, x := range r.AsCalled {
			read = append(read, x.Name)
		}
		read = append(read, fhirTexts(t, r)...)
		text, _ := json.Marshal(read)
		all := strings.ToLower(string(text))
		if !strings.Contains(all, want[0]) || strings.Contains(all, want[1]) {
			t.Errorf("%s: %s", protocol, all)
		}
	}
}

// fhirTexts are the texts for people of the medications in the FHIR export.
func fhirTexts(t *testing.T, r *Record) (texts []string) {
	t.Helper()
	var out strings.Builder
	if err := r.writeFHIR(&out); err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Entry []struct {
			Resource struct {
				Drug   struct{ Text string } `json:"medicationCodeableConcept"`
				Dosage struct{ Text string } `json:"dosage"`
			}
		}
	}
	if err := json.Unmarshal([]byte(out.String()), &doc); err != nil {
		t.Fatal(err)
	}
	for _, e := range doc.Entry {
		texts = append(texts, e.Resource.Drug.Text, e.Resource.Dosage.Text)
	}
	return texts
}

// A dose that two people told within a moment is one medication in the export.
func TestToldTwiceIsExportedOnce(t *testing.T) {
	var events []timeline.Event
	for i, at := range []float64{20, 24, 200} {
		events = append(events, timeline.Event{Seq: uint64(i + 3), Kind: timeline.Epinephrine, At: timeline.Seconds(at),
			Values: map[string]float64{"dose_mg": 1}})
	}
	r := Of(append([]timeline.Event{
		{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{Protocol: "aha-2025 00ff", Wall: "2030-01-01T00:00:00Z"}},
		{Seq: 2, Kind: timeline.CompressionsStart, At: timeline.Seconds(2)},
	}, events...), nil)
	n := 0
	for _, text := range fhirTexts(t, r) {
		if text == "Epinephrine" {
			n++
		}
	}
	if n != 2 {
		t.Errorf("%d medications, want 2", n)
	}
}

// No id of ours is read anywhere in a record's rows, whatever happened; what was not said
// is told by its sentence, and a weight stands in the course with its number.
func TestRowsHaveNoIDs(t *testing.T) {
	events := []timeline.Event{{Kind: timeline.SessionOpen,
		Session: &timeline.Session{Protocol: "aha-2025 00ff", Wall: "2030-01-01T00:00:00Z"}}}
	for _, k := range append([]timeline.Kind{"drug.ours", "correct.drug.lidocaine", "cause.treated.hypoxia", "ask.dose.ours"},
		timeline.Callouts...) {
		events = append(events, timeline.Event{Kind: k, At: timeline.Seconds(float64(len(events)))})
	}
	events = append(events,
		timeline.Event{Kind: timeline.PatientWeight, Values: map[string]float64{"weight_kg": 4}},
		timeline.Event{Kind: timeline.CueDropped, Cue: "cycle.end", Sentence: "Rhythm check.", Text: "no longer due"},
		timeline.Event{Kind: timeline.CueDropped, Cue: "pause.warning", Text: "too late"}, // as it was written before
		timeline.Event{Kind: timeline.Fault, Cue: "fault.beat", Text: "the metronome is not even"},
		timeline.Event{Kind: timeline.Question, Cue: "hear.sure"})
	for i := range events {
		events[i].Seq = uint64(i + 1)
	}
	r := Of(events, nil)
	var read []string
	for _, x := range r.Rows {
		if strings.ContainsAny(strings.ReplaceAll(x.Text, "check.”", ""), "._#") || strings.HasPrefix(x.Text, "ask ") {
			t.Errorf("an id is read in %q", x.Text)
		}
		read = append(read, x.Text)
	}
	all := strings.Join(read, "|")
	for _, want := range []string{"not said: “Rhythm check.”: no longer due|not said: too late|fault: the metronome is not even|",
		"|corrected to lidocaine|treated hypoxia|asked: dose of ours|", "|patient weight, 4 kg|"} {
		if !strings.Contains(all, want) {
			t.Errorf("%q is not in %s", want, all)
		}
	}
	weight := timeline.Event{Seq: 2, Kind: timeline.PatientWeight, Values: map[string]float64{"weight_kg": 4}}
	svg, err := Chart(Of([]timeline.Event{events[0], weight}, nil), 0)
	if err != nil || !strings.Contains(svg, ">patient weight, 4 kg<") {
		t.Errorf("%v: the course has no number beside the weight", err)
	}
}

// When a record began is told with whose word that is; what was replayed without a time of day is
// said to have none.
func TestBegan(t *testing.T) {
	for _, c := range []struct{ source, wall, want string }{
		{"device", "2026-03-01T14:00:00+01:00", "Began 1 March 2026, 14:00:00 (UTC+01:00) by the clock of its machine"},
		{"typed", "2026-03-01T14:00:00Z", "Began 1 March 2026, 14:00:00 (UTC+00:00) by the clock of its machine"},
		{"ward.wav", "2026-03-01T14:00:00Z", "Began 1 March 2026, 14:00:00 (UTC+00:00), as it was told when ward.wav was replayed"},
		{"ward.wav", "2000-01-01T00:00:00Z", "When it began is not known: its clock counts from 00:00:00"},
		{"device", "1970-01-01T00:03:00Z", "When it began is not known: its clock counts from 00:03:00"},
	} {
		r := Of([]timeline.Event{{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: c.wall, Source: c.source,
			Rate: timeline.Rate}}}, nil)
		if r.Began != c.want {
			t.Errorf("%s at %s: %q, want %q", c.source, c.wall, r.Began, c.want)
		}
	}
}

// A confirmation says what it confirmed, and one that came too late confirmed nothing.
func TestConfirmedIsNamed(t *testing.T) {
	events := []timeline.Event{{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{}}, {Seq: 2, At: 10, Kind: timeline.CodeStart},
		{Seq: 3, At: timeline.Seconds(60), Kind: timeline.CodeEnd}, {Seq: 4, At: timeline.Seconds(62), Kind: timeline.Confirm},
		{Seq: 5, At: timeline.Seconds(90), Kind: timeline.Confirm}}
	rows := Rows(events)
	if got := rows[3].Text + ", " + rows[4].Text; got != "confirmed: code ended, confirmed" {
		t.Errorf("%q", got)
	}
	if got := rows[2].Text; got != "code ended" {
		t.Errorf("%q", got)
	}
	events[3].At, events[4].At = timeline.Seconds(95), timeline.Seconds(99)
	if rows = Rows(events); rows[3].Text != "confirmed" || rows[2].Text != "code ended (not confirmed)" {
		t.Errorf("too late: %q, %q", rows[2].Text, rows[3].Text)
	}
}

// Who lies there is no fact of the record while the team was asked and did not name it again: the row
// says so, whatever a yes was to. A name makes it one, and what was not asked about is one at once.
func TestChildThatNobodyConfirmed(t *testing.T) {
	for name, c := range map[string]struct {
		asked  bool
		answer timeline.Kind
		want   string
	}{
		"asked":     {true, "", "a child (not confirmed)"},
		"yes":       {true, timeline.Confirm, "a child (not confirmed)"},
		"an adult":  {true, timeline.PatientAdult, "a child (not confirmed)"},
		"confirmed": {true, timeline.PatientChild, "a child"},
		"plain":     {false, "", "a child"},
	} {
		events := []timeline.Event{
			{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{Protocol: "aha-2025 00ff", Wall: "2030-01-01T00:00:00Z"}},
			{Seq: 2, Kind: timeline.CompressionsStart, At: timeline.Seconds(2)},
			{Seq: 3, Kind: timeline.ShockGiven, At: timeline.Seconds(10), Values: map[string]float64{"energy_j": 200}},
			{Seq: 4, Kind: timeline.PatientChild, At: timeline.Seconds(30)},
		}
		if c.asked {
			events = append(events, timeline.Event{Seq: 5, Kind: timeline.Question, Cue: "question.whose", At: timeline.Seconds(30)})
		}
		if c.answer != "" {
			events = append(events, timeline.Event{Seq: 6, Kind: c.answer, At: timeline.Seconds(34)})
		}
		for _, r := range Rows(events) {
			if r.Kind == timeline.PatientChild && r.Text != c.want {
				t.Errorf("%s: %q, want %q", name, r.Text, c.want)
			}
		}
	}
}

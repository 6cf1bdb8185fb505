package record

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coxswain/timeline"
)

// What no session can have written is refused with one line that names it.
func TestAbsurdJournal(t *testing.T) {
	const day = "2026-03-01T14:00:00Z"
	names := make([]timeline.Event, mostKinds+1)
	for i := range names {
		names[i].Kind = timeline.Kind(fmt.Sprintf("drug.x%d", i))
	}
	one := func(e timeline.Event) []timeline.Event { return []timeline.Event{e} }
	joules := func(v float64) map[string]float64 { return map[string]float64{"energy_j": v} }
	for _, c := range []struct {
		name, wall string
		rate       int
		events     []timeline.Event
		want       string // of Open and of Verify; empty: it is none
	}{
		{"a session", day, timeline.Rate, one(timeline.Event{Kind: timeline.ShockGiven, Values: joules(200)}), ""},
		{"a clock that was never set", "1970-01-01T00:00:09Z", timeline.Rate, nil, ""},
		{"no rate", day, 0, nil, "events.jsonl:1: journal chain is broken: session.open says 0 samples a second"},
		{"another rate", day, 44100, nil, "says 44100 samples a second; the clock of a session has 48000"},
		{"a negative rate", day, -48000, nil, "says -48000 samples"},
		{"no date", "", timeline.Rate, nil, `events.jsonl:1: session.open tells "" as the wall clock, which is no date`},
		{"the year 1", "0001-01-01T00:00:00Z", timeline.Rate, nil, `tells "0001-01-01T00:00:00Z" as the wall clock`},
		{"the year 10000", "9999-12-31T23:59:59-23:59", timeline.Rate, nil, "which is no date of a session"},
		{"words", "yesterday", timeline.Rate, nil, `tells "yesterday"`},
		{"too many kinds", day, timeline.Rate, names, "more than 400 kinds of event"},
		{"the end of time", day, timeline.Rate, one(timeline.Event{Kind: timeline.ShockGiven, At: math.MaxInt64}),
			"event 3 (shock.given): its time or a number in it"},
		{"heard before time", day, timeline.Rate, one(timeline.Event{Kind: timeline.ShockGiven,
			Heard: &timeline.Heard{Start: math.MinInt64}}), "its time or a number in it"},
		{"a prompt without end", day, timeline.Rate, one(timeline.Event{Kind: timeline.CueSpoken, Until: 1 << 60}), "its time"},
		{"more energy than there is", day, timeline.Rate,
			one(timeline.Event{Kind: timeline.ShockGiven, Values: joules(1e308)}), "its time or a number in it"},
	} {
		dir := filepath.Join(t.TempDir(), "r")
		w, err := Begin(dir, wall)
		if err != nil {
			t.Fatal(err)
		}
		session := timeline.Session{Wall: c.wall, Rate: c.rate}
		add(t, w.Journal, timeline.Event{Kind: timeline.SessionOpen, Session: &session})
		play(t, w, 1)
		for _, e := range c.events {
			add(t, w.Journal, e)
		}
		end(t, w)
		_, err = verified(dir)
		got := fmt.Sprint(err)
		if (c.want == "") != (err == nil) || !strings.Contains(got, c.want) || strings.Contains(got, "\n") {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

// A journal without an event is no record, whatever stands in it.
func TestJournalWithoutAnEvent(t *testing.T) {
	for _, c := range []struct{ name, journal, want string }{
		{"empty", "", "it is empty"},
		{"what a power cut leaves of a file", strings.Repeat("\x00", 4096), "its 4096 bytes hold no whole line"},
		{"a torn first line", `{"seq":1,`, "its 9 bytes hold no whole line"},
	} {
		dir := t.TempDir()
		os.WriteFile(filepath.Join(dir, JournalName), []byte(c.journal), 0o600)
		_, _, err := Read(dir)
		if err == nil || !errors.Is(err, ErrNoSession) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: read as %v", c.name, err)
		}
		if _, err := Open(dir); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: opened as %v", c.name, err)
		}
	}
}

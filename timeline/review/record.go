// Package review turns the events of a finished session into what a reviewer
// needs: rows, figures, charts and exports. All of it is a function of the
// journal and of the definitions of the figures; only Load and LoadAll read files.
package review

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
)

// Record is a session as a reviewer sees it: what the page, the report and the
// exports are made of. It is a function of the journal and the definitions.
type Record struct {
	Name       string               `json:"name"`
	Caution    string               `json:"caution"`
	Began      string               `json:"began"` // when, in words, and by whose word
	Session    *timeline.Session    `json:"session"`
	Protocol   string               `json:"protocol"` // its title
	End        timeline.Time        `json:"end"`
	Started    timeline.Time        `json:"started"` // of the code; -1: never
	Rate       int                  `json:"rate"`
	PartLength int64                `json:"part_length"` // samples of a full audio file
	Parts      int                  `json:"parts"`
	Unfinished string               `json:"unfinished,omitempty"`
	Amended    bool                 `json:"amended"`
	Rows       []Row                `json:"rows"`
	AsCalled   []figures.Figure     `json:"as_called"`
	AsAmended  []figures.Figure     `json:"as_amended,omitempty"`
	Rhythms    []figures.RhythmTime `json:"rhythms"`
	Drugs      []figures.DrugTotal  `json:"drugs"`
	Stretches  []figures.Stretch    `json:"stretches"`
	Cycles     []figures.Stretch    `json:"cycles"`
	Story      []Sentence           `json:"story"`
	Debriefing *Debriefing          `json:"debriefing,omitempty"` // of a drill; nil: none
	Seen       []Seen               `json:"-"`

	Events []timeline.Event `json:"-"`
	Course figures.Course   `json:"-"`
	Wall   time.Time        `json:"-"` // of sample 0
}

// Row is an event as a line of the reviewer's table.
type Row struct {
	Seq    uint64             `json:"seq"`
	At     timeline.Time      `json:"at"`
	Until  timeline.Time      `json:"until"` // end of what sounded
	From   timeline.Time      `json:"from"`  // start of what sounded
	Group  string             `json:"group"` // called, said, system or amended
	Kind   timeline.Kind      `json:"kind"`
	Text   string             `json:"text"`
	Values map[string]float64 `json:"values,omitempty"`
	Heard  string             `json:"heard,omitempty"`
	Sure   float64            `json:"sure"`
	Gone   bool               `json:"gone,omitempty"`       // taken back
	Twice  bool               `json:"told_twice,omitempty"` // a shock or a dose told a second time: it counts once
	Unsure bool               `json:"unsure,omitempty"`
	Moved  bool               `json:"moved,omitempty"` // back-dated or re-timed
	Note   string             `json:"note,omitempty"`  // who amended it, and why

	Sentence string `json:"-"` // of what was said: Text without Cut
	Cut      string `json:"-"` // how it was cut off, in words; empty: it was not
}

// Of derives everything from events that begin with session.open.
func Of(events []timeline.Event, defs []figures.Definition) *Record {
	called := timeline.AsCalled(events)
	end := timeline.End(events)
	course := figures.Lay(events, end)
	r := &Record{
		Caution: events[0].Session.Caution, Session: events[0].Session, End: end, Started: course.State.CodeAt(),
		Protocol: timeline.ProtocolTitle(events[0].Session.Protocol),
		Rate:     timeline.Rate, Amended: len(called) != len(events), Events: events, Course: course,
		AsCalled: figures.Compute(called, defs, end),
		Rhythms:  course.RhythmTimes(), Drugs: course.DrugTotals(), Stretches: course.Stretches(), Cycles: course.Cycles,
	}
	r.Seen = seen(events, end)
	r.Story = story(course, r.Seen, events, end, figures.Ranged(events))
	if takenBack(events) {
		r.Story = []Sentence{{{"All that was called in this record was taken back.", timeline.Never}}}
	}
	r.Wall = timeline.WallClock(events)
	r.Began = r.began()
	if r.Amended {
		r.AsAmended = figures.Compute(events, defs, end)
	}
	r.Rows = Rows(events)
	r.reword(r.Session.Words())
	return r
}

// reword puts what people read into the words of the record's protocol.
func (r *Record) reword(set string) {
	for i := range r.Drugs {
		r.Drugs[i].Drug = timeline.Reword(set, r.Drugs[i].Drug)
	}
	slices.SortFunc(r.Drugs, func(a, b figures.DrugTotal) int { return strings.Compare(a.Drug, b.Drug) })
	for i := range r.Story {
		for k := range r.Story[i] {
			r.Story[i][k].Text = timeline.Reword(set, r.Story[i][k].Text)
		}
	}
	for _, list := range [][]figures.Figure{r.AsCalled, r.AsAmended} {
		for i := range list {
			list[i].Name = timeline.Reword(set, list[i].Name)
			list[i].Definition.Definition = timeline.Reword(set, list[i].Definition.Definition)
		}
	}
}

// Rows are events as a reviewer reads them, in the words of the record's protocol and never
// by an id. A sentence that was retracted is left out: a later event tells what became of it.
func Rows(events []timeline.Event) (out []Row) {
	gone, again, words := timeline.Retracted(events), timeline.Repeated(events), map[uint64]string{}
	sure, open := confirmed(events), timeline.Unanswered(events)
	maps.Copy(open, unended(events))
	set := ""
	if len(events) > 0 && events[0].Session != nil {
		set = events[0].Session.Words()
	}
	for _, e := range events {
		words[e.Seq] = e.Words()
		if e.Kind == timeline.CueSpoken && gone[e.Seq] {
			continue
		}
		w := newRow(e, gone[e.Seq])
		if e.Kind == timeline.Retraction {
			w.Text = "taken back: " + words[e.Retracts]
		}
		if what := sure[e.Seq]; what != "" {
			w.Text += ": " + what
		}
		if w.Twice = again[e.Seq]; w.Twice { // in its words, so that no export leaves it out
			w.Text += " (" + timeline.Again + ")"
		}
		if open[e.Seq] {
			w.Text += " (not confirmed)"
		}
		w.Text, w.Sentence = timeline.Reword(set, w.Text), timeline.Reword(set, w.Sentence)
		out = append(out, w)
	}
	return out
}

// confirmed is what each confirmation confirmed, an end or a death, by its number.
func confirmed(events []timeline.Event) map[uint64]string {
	out := map[uint64]string{}
	if !slices.ContainsFunc(events, func(e timeline.Event) bool { return e.Kind == timeline.Confirm }) {
		return out
	}
	var was timeline.State
	var last timeline.Event
	for s, e := range timeline.Replay(events, timeline.End(events)) {
		if last.Kind == timeline.Confirm && was.Pending != "" && s.EndedBy == last.Seq { // not if it came too late
			out[last.Seq] = was.Pending.Row().Words
		}
		was, last = s, e
	}
	return out
}

// unended are the numbers of the ends, and deaths, that were called and that nobody confirmed: the code went on.
func unended(events []timeline.Event) map[uint64]bool {
	out := map[uint64]bool{}
	var was timeline.State
	var pending, last timeline.Event
	for s, e := range timeline.Replay(events, timeline.End(events)) {
		if last.Kind == timeline.Confirm && was.Pending != "" && s.EndedBy == last.Seq {
			delete(out, pending.Seq)
		}
		if e.Kind.Row().Confirm && s.Ended == timeline.Never {
			pending, out[e.Seq] = e, true
		}
		was, last = s, e
	}
	return out
}

func newRow(e timeline.Event, gone bool) Row {
	w := Row{
		Seq:    e.Seq,
		At:     e.At,
		From:   e.At,
		Until:  e.At,
		Kind:   e.Kind,
		Text:   e.Words(),
		Values: e.Values,
		Group:  "system",
		Sure:   1,
		Gone:   gone,
		Moved:  e.Replaces != 0,
	}
	switch {
	case e.Kind == timeline.CueSpoken:
		w.Group, w.Sentence, w.Until = "said", e.Sentence, max(e.At, e.Until)
		if w.Text = e.Sentence; e.Cut {
			w.Cut = fmt.Sprintf("(cut off after %.1f s)", (e.Until - e.At).Seconds())
			w.Text += " " + w.Cut
		}
	case e.Kind.IsCallout():
		w.Group = "called"
	case e.Kind == timeline.Retraction, e.Kind == timeline.Question: // its words name the event
	default: // in words alone: the id of a cue tells a reader nothing
		if e.Sentence != "" {
			w.Text += ": “" + e.Sentence + "”"
		}
		if e.Text != "" {
			w.Text += ": " + e.Text
		}
	}
	if h := e.Heard; h != nil {
		w.From, w.Until, w.Heard, w.Sure, w.Unsure = h.Start, h.End, h.Text, h.Confidence, e.Unsure()
	}
	if a := e.Amend; a != nil {
		w.Group, w.Note = "amended", fmt.Sprintf("%s: %s", a.By, a.Reason)
		if e.Heard == nil {
			w.From, w.Until = e.At, e.At
		}
	}
	return w
}

// began says when the record began and who says so: the clock of the machine that it was made on,
// or whoever replayed a recording, if he knew.
func (r *Record) began() string {
	at := r.Wall.Format("2 January 2006, 15:04:05 (UTC-07:00)")
	switch from := r.Session.Source; {
	case !record.Dated(r.Wall):
		return "When it began is not known: its clock counts from " + r.Wall.Format(time.TimeOnly)
	case from == "device" || from == "typed":
		return "Began " + at + " by the clock of its machine"
	case from == "":
		return "Began " + at + ", by whose clock is not known"
	default:
		return fmt.Sprintf("Began %s, as it was told when %s was replayed", at, from)
	}
}

// Clock is the wall-clock time of a moment of the record.
func (r *Record) Clock(t timeline.Time) time.Time {
	return r.Wall.Add(time.Duration(float64(t) / timeline.Rate * 1e9)).Round(time.Microsecond)
}

// Figures are the ones that stand: as amended if there are amendments.
func (r *Record) Figures() []figures.Figure {
	if r.Amended {
		return r.AsAmended
	}
	return r.AsCalled
}

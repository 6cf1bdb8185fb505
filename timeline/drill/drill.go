// Package drill holds invented cases to practise on, and scores how a team did
// in one. All of it is a function of events and of the cases' own files.
package drill

import (
	"embed"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"

	"coxswain/timeline"
	"coxswain/timeline/figures"
)

//go:embed cases/*.yaml
var cases embed.FS

// Case is an invented case to practise on: what is told, and when, and what is
// looked for afterwards. Nobody in it is real.
type Case struct {
	ID       string
	Title    string      `yaml:"title"`
	Protocol string      `yaml:"protocol"`
	Minutes  float64     `yaml:"minutes"` // the case ends then, if not before
	Tell     []Telling   `yaml:"tell"`
	Look     []Criterion `yaml:"look"`
}

// Moment is a point of the case: DelayS seconds after the Nth callout of one
// of the kinds After (the first if Nth is 0), or after the start if After is
// empty.
type Moment struct {
	After  []timeline.Kind `yaml:"after"`
	Nth    int             `yaml:"nth"`
	DelayS float64         `yaml:"delay_s"`
}

// Telling is a sentence of the case; the last one may end it.
type Telling struct {
	Moment `yaml:",inline"`
	Say    string `yaml:"say"`
	End    bool   `yaml:"end"`
}

// Criterion is something that the timeline must show (Do within WithinS of its
// moment) or must not show (Avoid, from its moment on).
type Criterion struct {
	Moment  `yaml:",inline"`
	Do      []timeline.Kind `yaml:"do"`
	WithinS float64         `yaml:"within_s"`
	Avoid   []timeline.Kind `yaml:"avoid"`
	Points  int             `yaml:"points"`
	Reason  string          `yaml:"reason"`
	Source  string          `yaml:"source"`
}

// IDs lists the ids of the built-in cases.
func IDs() []string {
	list, _ := cases.ReadDir("cases") // sorted
	var out []string
	for _, f := range list {
		out = append(out, strings.TrimSuffix(f.Name(), ".yaml"))
	}
	return out
}

// Load returns a built-in case.
func Load(id string) (*Case, error) {
	b, err := cases.ReadFile(path.Join("cases", id+".yaml"))
	if err != nil {
		return nil, fmt.Errorf("no case %q: choose one of %s", id, strings.Join(IDs(), ", "))
	}
	c, err := Parse(id+".yaml", b)
	if c != nil {
		c.ID = id
	}
	return c, err
}

// Parse reads and checks a case; errors name file and line.
func Parse(name string, text []byte) (*Case, error) {
	c := &Case{}
	if err := timeline.DecodeStrict(name, text, c); err != nil {
		return nil, err
	}
	if c.Title == "" || c.Protocol == "" || len(c.Tell) == 0 || len(c.Look) == 0 || !(c.Minutes > 0 && c.Minutes <= 60) {
		return nil, fmt.Errorf("%s:1: want title, protocol, minutes (up to 60), tell and look", name)
	}
	for i, t := range c.Tell {
		if err := t.check(); err != nil || t.Say == "" {
			return nil, fmt.Errorf("%s: telling %d: want say, and after of known callouts: %v", name, i+1, err)
		}
	}
	for i, l := range c.Look {
		err := l.check()
		for _, k := range append(append([]timeline.Kind{}, l.Do...), l.Avoid...) {
			if !k.IsCallout() {
				err = fmt.Errorf("unknown callout %q", k)
			}
		}
		if err != nil || (len(l.Do) > 0) == (len(l.Avoid) > 0) || l.Points < 1 || l.Reason == "" || l.Source == "" {
			return nil, fmt.Errorf("%s: look %d: want do or avoid, points, reason and source: %v", name, i+1, err)
		}
	}
	return c, nil
}

func (m Moment) check() error {
	for _, k := range m.After {
		if !k.IsCallout() {
			return fmt.Errorf("unknown callout %q", k)
		}
	}
	return nil
}

// at is when the moment is reached in events that stand, in the order of time;
// Never if it was not.
func (m Moment) at(standing []timeline.Event) timeline.Time {
	if len(m.After) == 0 {
		return timeline.Seconds(m.DelayS)
	}
	n := max(1, m.Nth)
	for _, e := range standing {
		if slices.Contains(m.After, e.Kind) {
			if n--; n == 0 {
				return e.At + timeline.Seconds(m.DelayS)
			}
		}
	}
	return timeline.Never
}

// Told returns the sentences that are due by now, each with its place in Tell,
// and whether the case is over.
func (c *Case) Told(events []timeline.Event, now timeline.Time) (due map[int]timeline.Cue, over bool) {
	so := standing(events)
	due = map[int]timeline.Cue{}
	for i, t := range c.Tell {
		at := t.at(so)
		if at == timeline.Never || at > now {
			continue
		}
		due[i] = timeline.Cue{ID: "drill", At: at, Expires: at + timeline.Seconds(30), Priority: timeline.Cycle, Say: t.Say}
		over = over || t.End && now > at+timeline.Seconds(6)
	}
	return due, over || now > timeline.Seconds(60*c.Minutes)
}

// standing lists the events that were not taken back, in the order of time.
func standing(events []timeline.Event) []timeline.Event {
	var out []timeline.Event
	for _, e := range timeline.Replay(events, math.MaxInt64) {
		out = append(out, e)
	}
	return out
}

// Finding is one line of a score.
type Finding struct {
	Points, Of int
	Reason     string // what was looked for
	Source     string
	Found      string // what the timeline shows
}

// Score judges a timeline: the case's own criteria, then what the protocol
// wants in every arrest. It is a function of the events alone.
func (c *Case) Score(p *timeline.Protocol, events []timeline.Event) []Finding {
	so := standing(events)
	var out []Finding
	for _, l := range c.Look {
		f := Finding{Of: l.Points, Reason: l.Reason, Source: l.Source}
		f.Points, f.Found = l.judge(so)
		out = append(out, f)
	}
	return append(out, pauseFinding(p, events), questionFinding(events))
}

func (l Criterion) judge(standing []timeline.Event) (points int, found string) {
	from := l.at(standing)
	if from == timeline.Never {
		return 0, "its moment never came"
	}
	kinds := append(append([]timeline.Kind{}, l.Do...), l.Avoid...)
	for _, e := range standing {
		if !slices.Contains(kinds, e.Kind) || e.At < from {
			continue
		}
		after := fmt.Sprintf("%s at %s, %.0f s after", e.Kind, e.At, (e.At - from).Seconds())
		if len(l.Avoid) > 0 || l.WithinS > 0 && e.At > from+timeline.Seconds(l.WithinS) {
			return 0, after
		}
		return l.Points, after
	}
	if len(l.Avoid) > 0 {
		return l.Points, "not seen"
	}
	return 0, "not called"
}

// pauseFinding: a point for each pause within the protocol's limit, 5 at most.
func pauseFinding(p *timeline.Protocol, events []timeline.Event) Finding {
	limit := p.Get("pause_limit_s")
	f := Finding{Of: 5, Points: 5, Source: p.Values["pause_limit_s"].Source, Found: "none longer"}
	f.Reason = fmt.Sprintf("no pause in compressions above %s s", timeline.FormatNumber(limit))
	n, longest := 0, 0.0
	for _, pause := range figures.Lay(events, timeline.End(events)).Pauses {
		if s := pause.Seconds(); s > limit {
			n, longest = n+1, max(longest, s)
		}
	}
	if n > 0 {
		f.Points = max(0, f.Points-n)
		f.Found = fmt.Sprintf("%d longer, the longest %.0f s", n, longest)
	}
	return f
}

// questionFinding: contradictions that were asked about.
func questionFinding(events []timeline.Event) Finding {
	f := Finding{Of: 3, Points: 3, Reason: "no contradiction to the protocol", Source: "the questions that were asked aloud", Found: "none asked"}
	var asked []string
	for _, e := range events {
		if e.Kind == timeline.Question {
			asked = append(asked, strings.TrimPrefix(e.Cue, "question."))
		}
	}
	if len(asked) > 0 {
		f.Points, f.Found = max(0, 3-len(asked)), strings.Join(asked, ", ")
	}
	return f
}

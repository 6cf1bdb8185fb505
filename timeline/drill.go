package timeline

import (
	"bytes"
	"embed"
	"fmt"
	"path"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
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
	After  []Kind  `yaml:"after"`
	Nth    int     `yaml:"nth"`
	DelayS float64 `yaml:"delay_s"`
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
	Do      []Kind  `yaml:"do"`
	WithinS float64 `yaml:"within_s"`
	Avoid   []Kind  `yaml:"avoid"`
	Points  int     `yaml:"points"`
	Reason  string  `yaml:"reason"`
	Source  string  `yaml:"source"`
}

// Cases lists the ids of the built-in cases.
func Cases() []string { return ids(cases, "cases") }

// LoadCase returns a built-in case.
func LoadCase(id string) (*Case, error) {
	b, err := cases.ReadFile(path.Join("cases", id+".yaml"))
	if err != nil {
		return nil, fmt.Errorf("no case %q: choose one of %s", id, strings.Join(Cases(), ", "))
	}
	c, err := ParseCase(id+".yaml", b)
	if c != nil {
		c.ID = id
	}
	return c, err
}

// ParseCase reads and checks a case; errors name file and line.
func ParseCase(name string, text []byte) (*Case, error) {
	c := &Case{}
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(c); err != nil {
		return nil, fmt.Errorf("%s:%s", name, yamlError(err))
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
		for _, k := range append(append([]Kind{}, l.Do...), l.Avoid...) {
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

// at is when the moment is reached in events that were not taken back; Never
// if it was not.
func (m Moment) at(events []Event, gone map[uint64]bool) Time {
	if len(m.After) == 0 {
		return Seconds(m.DelayS)
	}
	n := max(1, m.Nth)
	for _, e := range events {
		if slices.Contains(m.After, e.Kind) && !gone[e.Seq] {
			if n--; n == 0 {
				return e.At + Seconds(m.DelayS)
			}
		}
	}
	return Never
}

// Told returns the sentences that are due by now, each with its place in Tell,
// and whether the case is over.
func (c *Case) Told(events []Event, now Time) (due map[int]Cue, over bool) {
	gone := Retracted(events)
	due = map[int]Cue{}
	for i, t := range c.Tell {
		at := t.at(events, gone)
		if at == Never || at > now {
			continue
		}
		due[i] = Cue{ID: "drill", At: at, Expires: at + Seconds(30), Priority: Cycle, Say: t.Say}
		over = over || t.End && now > at+Seconds(6)
	}
	return due, over || now > Seconds(60*c.Minutes)
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
func (c *Case) Score(p *Protocol, events []Event) []Finding {
	gone := Retracted(events)
	var out []Finding
	for _, l := range c.Look {
		f := Finding{Of: l.Points, Reason: l.Reason, Source: l.Source}
		f.Points, f.Found = l.judge(events, gone)
		out = append(out, f)
	}
	return append(out, pauseFinding(p, events, gone), questionFinding(events))
}

func (l Criterion) judge(events []Event, gone map[uint64]bool) (points int, found string) {
	from := l.at(events, gone)
	if from == Never {
		return 0, "its moment never came"
	}
	kinds := append(append([]Kind{}, l.Do...), l.Avoid...)
	for _, e := range events {
		if !slices.Contains(kinds, e.Kind) || gone[e.Seq] || e.At < from {
			continue
		}
		after := fmt.Sprintf("%s at %s, %.0f s after", e.Kind, e.At, (e.At - from).Seconds())
		if len(l.Avoid) > 0 || l.WithinS > 0 && e.At > from+Seconds(l.WithinS) {
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
func pauseFinding(p *Protocol, events []Event, gone map[uint64]bool) Finding {
	limit := p.Span("pause_limit_s")
	f := Finding{Of: 5, Points: 5, Reason: fmt.Sprintf("no pause in compressions above %s s", FormatNumber(limit.Seconds())), Source: p.Values["pause_limit_s"].Source, Found: "none longer"}
	s, n, longest := newState(), 0, Time(0)
	for _, e := range events {
		from := s.PausedFrom
		wasOn := s.InArrest() && s.FirstCompression != Never && from != Never
		if gone[e.Seq] {
			continue
		}
		s.apply(e)
		if wasOn && s.PausedFrom != from && e.At-from > limit {
			n, longest = n+1, max(longest, e.At-from)
		}
	}
	if n > 0 {
		f.Points = max(0, f.Points-n)
		f.Found = fmt.Sprintf("%d longer, the longest %.0f s", n, longest.Seconds())
	}
	return f
}

// questionFinding: contradictions that were asked about.
func questionFinding(events []Event) Finding {
	f := Finding{Of: 3, Points: 3, Reason: "no contradiction to the protocol", Source: "the questions that were asked aloud", Found: "none asked"}
	var asked []string
	for _, e := range events {
		if e.Kind == Question {
			asked = append(asked, strings.TrimPrefix(e.Text, "question."))
		}
	}
	if len(asked) > 0 {
		f.Points, f.Found = max(0, 3-len(asked)), strings.Join(asked, ", ")
	}
	return f
}

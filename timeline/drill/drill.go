// Package drill holds invented cases to practise on, and scores how a team did
// in one. All of it is a function of events, of the protocol and of the cases'
// own files.
package drill

import (
	"embed"
	"fmt"
	"path"
	"slices"
	"strings"

	"coxswain/timeline"
)

//go:embed cases/*.yaml
var cases embed.FS

// Case is an invented case to practise on: what is told, and when, and what is
// looked for afterwards. Nobody in it is real.
type Case struct {
	ID       string      `yaml:"-"`
	Title    string      `yaml:"title"`
	Protocol string      `yaml:"protocol"` // the only one that it is made for; empty: any
	Minutes  float64     `yaml:"minutes"`  // the case ends then, if not before
	Tell     []Telling   `yaml:"tell"`
	Look     []Criterion `yaml:"look"`
}

// Moment is a point of the case: DelayS seconds after the Nth callout of one
// of the kinds After (the first if Nth is 0), or after the start if After is
// empty.
type Moment struct {
	After  []timeline.Kind `yaml:"after"`
	Nth    int             `yaml:"nth"`
	NthOf  string          `yaml:"nth_of"` // in look: a value of the protocol instead of Nth
	DelayS float64         `yaml:"delay_s"`
}

// Telling is a sentence of the case; the last one may end it.
type Telling struct {
	Moment `yaml:",inline"`
	Say    string `yaml:"say"`
	End    bool   `yaml:"end"`
}

// Criterion is something that the team must do (Do, within WithinS of its
// moment) or must not do (Avoid, from its moment on, while one of When holds).
// What holds already at the moment, or was done since the event that it counts
// from, was done early: that counts, unless Fresh. What must be done while one of
// When holds does not apply once none does.
type Criterion struct {
	Moment  `yaml:",inline"`
	Do      []timeline.Kind `yaml:"do"`
	WithinS float64         `yaml:"within_s"`
	Fresh   bool            `yaml:"fresh"`
	Avoid   []timeline.Kind `yaml:"avoid"`
	When    []string        `yaml:"when"` // rhythms, arrest, pulse, compressing, not compressing, hands off; empty: always
	Points  int             `yaml:"points"`
	Reason  string          `yaml:"reason"` // what is looked for
	Source  string          `yaml:"source"` // may be left out with NthOf: the value's own
	Better  string          `yaml:"better"` // what to do better
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
		return nil, fmt.Errorf("no case %q: choose one of %s, or name a file with --case", id, strings.Join(IDs(), ", "))
	}
	return Parse(id+".yaml", b)
}

// reached returns when the moment is reached in events that stand, in the order
// of time, and the place of the event that made it; Never if it was not.
func (m Moment) reached(standing []step, nth int) (at timeline.Time, place int) {
	if len(m.After) == 0 {
		return timeline.Seconds(m.DelayS), -1
	}
	for i, s := range standing {
		if slices.Contains(m.After, s.event.Kind) {
			if nth--; nth <= 0 {
				return s.event.At + timeline.Seconds(m.DelayS), i
			}
		}
	}
	return timeline.Never, -1
}

// Told returns the sentences that are due by now, each with its place in Tell,
// and whether the case is over.
func (c *Case) Told(events []timeline.Event, now timeline.Time) (due map[int]timeline.Cue, over bool) {
	so := walk(events)
	due = map[int]timeline.Cue{}
	for i, t := range c.Tell {
		at, _ := t.reached(so, t.Nth)
		if at == timeline.Never || at > now {
			continue
		}
		due[i] = timeline.Cue{ID: "drill", At: at, Expires: at + timeline.Seconds(30), Priority: timeline.Cycle, Say: t.Say}
		over = over || t.End && now > at+timeline.Seconds(6)
	}
	return due, over || now > timeline.Seconds(60*c.Minutes)
}

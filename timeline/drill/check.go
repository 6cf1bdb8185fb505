package drill

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"go.yaml.in/yaml/v3"

	"coxswain/timeline"
)

// Bounds of what a case may hold: a file named by mistake must not run for days.
const (
	maxMinutes = 60
	maxEntries = 200
	maxSeconds = 3600
	maxWords   = 300 // bytes of a sentence
	maxPoints  = 100
)

// Parse reads and checks a case; its id is the file's name. Errors are one line
// with file and line, and say what to write.
func Parse(name string, text []byte) (*Case, error) {
	c := &Case{ID: strings.TrimSuffix(filepath.Base(name), filepath.Ext(name))}
	if err := timeline.DecodeStrict(name, text, c); err != nil {
		return nil, err
	}
	var at struct {
		Tell []yaml.Node `yaml:"tell"`
		Look []yaml.Node `yaml:"look"`
	}
	if err := yaml.Unmarshal(text, &at); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if why := c.wrong(); why != "" {
		return nil, fmt.Errorf("%s:1: %s", name, why)
	}
	for i, t := range c.Tell {
		if why := t.wrong(); why != "" {
			return nil, fmt.Errorf("%s:%d: tell, number %d: %s", name, at.Tell[i].Line, i+1, why)
		}
	}
	for i, l := range c.Look {
		if why := l.wrong(); why != "" {
			return nil, fmt.Errorf("%s:%d: look, number %d: %s", name, at.Look[i].Line, i+1, why)
		}
	}
	return c, nil
}

func (c *Case) wrong() string {
	switch {
	case c.Title == "":
		return "no title: write title: \"...\""
	case !(c.Minutes > 0 && c.Minutes <= maxMinutes):
		return fmt.Sprintf("minutes: write how long the case lasts at most, 1 to %d", maxMinutes)
	case c.Protocol != "" && !slices.Contains(timeline.Protocols(), c.Protocol):
		known := strings.Join(timeline.Protocols(), ", ")
		return fmt.Sprintf("no protocol %q: leave it out, or choose one of %s", c.Protocol, known)
	case len(c.Tell) == 0 || len(c.Look) == 0:
		return "nothing is told or looked for: write tell: and look:"
	case len(c.Tell) > maxEntries || len(c.Look) > maxEntries:
		return fmt.Sprintf("more than %d entries in tell or look", maxEntries)
	}
	return ""
}

func (t Telling) wrong() string {
	switch {
	case t.Say == "" || len(t.Say) > maxWords || strings.ContainsAny(t.Say, "\n{}"):
		return fmt.Sprintf("say: write one sentence of up to %d letters", maxWords)
	case t.NthOf != "":
		return "nth_of is for look: write nth"
	}
	return t.Moment.wrong()
}

func (m Moment) wrong() string {
	switch {
	case unknown(m.After) != "":
		return fmt.Sprintf("after: unknown callout %q: see coxswain callouts", unknown(m.After))
	case !(m.DelayS >= 0 && m.DelayS <= maxSeconds):
		return fmt.Sprintf("delay_s: want 0 to %d seconds", maxSeconds)
	case m.Nth < 0 || m.Nth > maxEntries:
		return fmt.Sprintf("nth: want 1 to %d", maxEntries)
	case len(m.After) == 0 && (m.Nth > 0 || m.NthOf != ""):
		return "nth needs after: the callout that is counted"
	}
	return ""
}

// values are what every protocol gives a number for; that they load is tested.
var values = sync.OnceValue(func() map[string]timeline.Value {
	p, err := timeline.LoadProtocol(timeline.DefaultProtocol)
	if err != nil {
		panic(err)
	}
	return p.Values
})

func (l Criterion) wrong() string {
	_, known := values()[l.NthOf]
	switch {
	case (len(l.Do) > 0) == (len(l.Avoid) > 0):
		return "want one of do and avoid"
	case unknown(l.Do) != "" || unknown(l.Avoid) != "":
		return fmt.Sprintf("unknown callout %q: see coxswain callouts", unknown(append(slices.Clone(l.Do), l.Avoid...)))
	case l.NthOf != "" && (!known || l.Nth > 0):
		return fmt.Sprintf("nth_of %q: name a value that counts, such as epinephrine_after_shock, and no nth", l.NthOf)
	case l.Points < 1 || l.Points > maxPoints:
		return fmt.Sprintf("points: want 1 to %d", maxPoints)
	case l.Reason == "" || l.Source == "" && l.NthOf == "":
		return "reason and source: write what is looked for, and where it stands"
	}
	if w := l.whenWrong(); w != "" {
		return w
	}
	return l.Moment.wrong()
}

// whenWrong is wrong for how soon, and in which state.
func (l Criterion) whenWrong() string {
	switch {
	case !(l.WithinS >= 0 && l.WithinS <= maxSeconds):
		return fmt.Sprintf("within_s: want 0 to %d seconds", maxSeconds)
	case len(l.Avoid) > 0 && (l.WithinS > 0 || l.Fresh):
		return "within_s and fresh belong to do"
	}
	for _, w := range l.When {
		if conditions[w] == nil && timeline.Rhythm(w).Kind() == "" {
			states := strings.Join(stateWords(), ", ")
			return fmt.Sprintf("when: unknown state %q: choose of %s, or a rhythm such as asystole", w, states)
		}
	}
	return ""
}

// unknown returns the first that is no callout.
func unknown(kinds []timeline.Kind) timeline.Kind {
	for _, k := range kinds {
		if !k.IsCallout() {
			return k
		}
	}
	return ""
}

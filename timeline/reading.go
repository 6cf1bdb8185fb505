package timeline

import (
	"errors"
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Unresolved is the status of what the sources do not agree on, or of what no
// copy of the guideline was seen: a clinician has to decide. Such a number is
// never spoken; answers say to check the local chart.
const Unresolved = "unresolved"

// Statuses are how surely a number is known, best first.
var Statuses = []string{"seen", "secondary", "memory", Unresolved}

// Reading is what one source says about something that is unresolved.
type Reading struct {
	Text   string `yaml:"text" json:"text"`
	Source string `yaml:"source" json:"source"`
}

// Remark is something that a guideline says and no code reads: it stands in the
// protocol's table for people.
type Remark struct {
	Text     string    `yaml:"text"`
	Source   string    `yaml:"source"`
	Status   string    `yaml:"status"`
	Readings []Reading `yaml:"readings"`
}

// checkReadings: what is unresolved shows each reading and where it was found.
func checkReadings(list []Reading) error {
	if len(list) == 0 {
		return errors.New("unresolved needs readings: [{text, source}, ...]")
	}
	for _, r := range list {
		if r.Text == "" || r.Source == "" {
			return errors.New("a reading needs text and source")
		}
	}
	return nil
}

func checkNotes(file string, root *yaml.Node, notes map[string]Remark) error {
	for topic, n := range notes {
		at := fmt.Sprintf("%s:%d: note %s", file, lineOf(root, "notes", topic), topic)
		switch {
		case n.Text == "":
			return fmt.Errorf("%s: no text", at)
		case n.Status == Unresolved:
			if err := checkReadings(n.Readings); err != nil {
				return fmt.Errorf("%s: %w", at, err)
			}
		case n.Source == "" || len(n.Readings) > 0:
			return fmt.Errorf("%s: want a source, or status: unresolved with readings", at)
		}
	}
	return nil
}

// Spoken returns a value that may be said aloud; ok is false if the guideline
// sets none or a clinician has to decide it.
func (p *Protocol) Spoken(name string) (value float64, ok bool) {
	v := p.Values[name]
	return v.Value, !v.None && v.Status != Unresolved
}

// say puts values into a cue, given as pairs of value and slot: what is none
// is left out; where one is unresolved, no number is said but to look at the
// local chart. Seconds become minutes where the slot asks for them.
func (p *Protocol) say(c Cue, pairs ...string) Cue {
	for i := 0; i+1 < len(pairs); i += 2 {
		v := p.Values[pairs[i]]
		x := v.Value
		if strings.HasPrefix(pairs[i+1], "minutes") && v.Unit == "s" {
			x /= 60
		}
		switch {
		case v.Status == Unresolved:
			c.ID, c.Values, c.Parts = c.ID+".open", nil, []Cue{{ID: "dose.check"}}
			return c
		case !v.None:
			c = c.with(pairs[i+1], x)
		}
	}
	return c
}

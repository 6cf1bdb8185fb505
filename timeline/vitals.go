package timeline

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"go.yaml.in/yaml/v3"
)

// Range is what a protocol expects of a measured number: outside Min to Max it is
// hardly measured, and asked about at once; below OpenBelow or above OpenAbove it
// speaks for a cause, which is open again although it was excluded.
type Range struct {
	Min       float64 `yaml:"min"`
	Max       float64 `yaml:"max"`
	Unit      string  `yaml:"unit"` // UCUM
	Cause     string  `yaml:"cause"`
	OpenBelow float64 `yaml:"open_below"` // 0: none
	OpenAbove float64 `yaml:"open_above"` // 0: none
	Source    string  `yaml:"source"`
	Status    string  `yaml:"status"`
}

// plausible reports whether a number of this kind is measured at all.
func (p *Protocol) plausible(name string, x float64) bool {
	r, known := p.Measured[name]
	return !known || x >= r.Min && x <= r.Max
}

// vitalQuestions ask at once about a number that can hardly be: it takes the place
// of the read-back.
func (p *Protocol) vitalQuestions(e Event, name string) []question {
	ask := func(c Cue) []question { return []question{{Cue: c, instead: true}} }
	low, paired := e.Values["diastolic_mmhg"]
	if high := e.Values["systolic_mmhg"]; paired && (low >= high || !p.plausible(name, high)) {
		return ask(Cue{ID: "question.pressure", Values: e.Values})
	}
	if x := p.number(e); len(e.Values) == 1 && !p.plausible(name, x) {
		said := x / p.perMmol(e.Kind)
		return ask(Cue{ID: "question.measured", Items: []string{e.Kind.Row().Spoken}}.with("value", said))
	}
	return nil
}

// number is a measured number in the unit of its range; of two, the larger.
func (p *Protocol) number(e Event) float64 {
	most := 0.0
	for _, v := range e.Values {
		most = max(most, v)
	}
	return most * p.perMmol(e.Kind)
}

// perMmol is what a number as called is multiplied by: 1, or under a protocol that
// calls glucose in mmol/L, what makes mg/dL of it, as records have it.
func (p *Protocol) perMmol(k Kind) float64 {
	if x, set := p.Spoken("glucose_mgdl_per_mmol"); set && k == Glucose {
		return x
	}
	return 1
}

// inRecordsUnit puts a number that was called in mmol/L into the record in its unit,
// in the place of e; ok is false if nothing is to change.
func (m *Machine) inRecordsUnit(e Event) (events []Event, ok bool) {
	p := m.protocol.For(m.state)
	by := p.perMmol(e.Kind)
	if by == 1 || !p.plausible("glucose", p.number(e)) {
		return nil, false
	}
	fixed := e
	fixed.Values = map[string]float64{}
	for slot, x := range e.Values {
		fixed.Values[slot] = math.Round(by * x)
	}
	return replace(e, e, fixed, Cue{}).Events, true
}

// contradicted reports whether a number that was measured since speaks for a cause
// that was excluded.
func (p *Protocol) contradicted(s State, cause string) bool {
	for name, r := range p.Measured {
		m, called := s.Measured[name]
		if r.Cause == cause && called && m.At >= s.CauseAt[cause] && p.plausible(name, m.Value) && r.open(m.Value) {
			return true
		}
	}
	return false
}

// open reports whether a number speaks for the cause.
func (r Range) open(x float64) bool {
	return r.OpenBelow > 0 && x < r.OpenBelow || r.OpenAbove > 0 && x > r.OpenAbove
}

// reopened tells of an excluded cause that a number that was just called opens again.
func (p *Protocol) reopened(s State, name string) []Cue {
	cause := p.Measured[name].Cause
	if cause == "" || s.Causes[cause] != "excluded" || !p.contradicted(s, cause) {
		return nil
	}
	return []Cue{{ID: "cause.again", Items: []string{cause}}}
}

// checkMeasured holds ranges to numbers that a team can call, and to a source.
func checkMeasured(file string, root *yaml.Node, list map[string]Range) error {
	for _, name := range slices.Sorted(maps.Keys(list)) {
		if err := list[name].wrong(name); err != nil {
			return fmt.Errorf("%s:%d: measured %s: %w", file, lineOf(root, "measured", name), name, err)
		}
	}
	return nil
}

func (r Range) wrong(name string) error {
	row, known := kinds.rows[Kind("measured."+name)]
	switch opens := r.OpenBelow > 0 || r.OpenAbove > 0; {
	case !known:
		return errors.New("nobody calls such a number")
	case !(r.Min >= 0 && r.Max > r.Min):
		return errors.New("want min and max, min below max")
	case r.Unit != row.Unit:
		return fmt.Errorf("the unit is %s", row.Unit)
	case opens != (r.Cause != "") || !within(r.Max, r.OpenBelow, r.OpenAbove):
		return errors.New("cause and open_below or open_above go together")
	case r.Source == "":
		return errors.New("no source: add source: \"guideline, year, section\"")
	}
	return nil
}

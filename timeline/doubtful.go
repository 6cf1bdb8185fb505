package timeline

import (
	"errors"
	"fmt"
	"slices"

	"go.yaml.in/yaml/v3"
)

// Doubt is a drug that is asked about once where a guideline gives none: in some
// rhythms, or beside another drug of the same arrest. The leader may be right.
type Doubt struct {
	Drug    string   `yaml:"drug"`
	Rhythms []Rhythm `yaml:"rhythms"`
	Beside  string   `yaml:"beside"` // a drug
	Source  string   `yaml:"source"`
	Status  string   `yaml:"status"`
}

// doubtQuestions ask once, in this arrest or with this pulse, for a drug that the
// protocol does not give in the rhythm or beside one that was given.
func (p *Protocol) doubtQuestions(s State, drug string) (out []question) {
	ask := func(c Cue) {
		once := fmt.Sprintf("%s %s %s %d", c.ID, drug, s.Rhythm, s.ArrestAt)
		out = append(out, question{Cue: c, once: once})
	}
	for _, d := range p.Doubtful {
		switch {
		case d.Drug != drug:
		case slices.Contains(d.Rhythms, s.Rhythm):
			ask(Cue{ID: "question.drug.rhythm"})
		case d.Beside != "" && len(s.Doses(d.Beside)) > 0:
			ask(Cue{ID: "question.drug.both", Items: []string{d.Beside}})
		}
	}
	n, limited := p.Spoken("epinephrine_not_before_shock")
	if limited && drug == "epinephrine" && p.beforeShock(s, int(n)) {
		ask(Cue{ID: "question.epinephrine.shock"}.with("shocks", n))
	}
	if n, early := p.beforeAntiarrhythmic(s, drug); early && len(out) == 0 {
		ask(Cue{ID: "question.drug.shock"}.with("shocks", n))
	}
	return out
}

// beforeAntiarrhythmic reports whether a first dose of one comes before the protocol's number
// of shocks, and that number. A later dose is not held to its shock: not every guideline gives
// one.
func (p *Protocol) beforeAntiarrhythmic(s State, drug string) (n float64, early bool) {
	n, limited := p.Spoken("antiarrhythmic_not_before_shock")
	first := limited && slices.Contains(arrestDrugs, drug) && s.Antiarrhythmics() == 0
	return n, first && s.InArrest() && s.Rhythm.Shockable() && float64(s.shocksInAll()) < n
}

// beforeShock reports whether a first dose of epinephrine comes before the protocol's
// number of shocks, in an arrest that was shockable throughout.
func (p *Protocol) beforeShock(s State, n int) bool {
	if !s.InArrest() || !s.Rhythm.Shockable() || s.NoShockAt != Never || len(s.Doses("epinephrine")) > 0 {
		return false
	}
	_, given := p.stackedShock(s, n, p.Values["stacked_epinephrine_shocks"])
	return !given
}

// leastSync is the least of a synchronised shock that nobody asks about; 0: the protocol sets no energy.
func (p *Protocol) leastSync(s State) float64 {
	kg, _ := p.Weight(s)
	first, ok := p.SyncEnergy(s.Rhythm, 0, kg)
	if !ok || !s.Rhythm.Fast() || s.Rhythm == Torsades {
		return 0
	}
	return first.Value * p.Get("shock_least_part")
}

// checkDoubtful holds what is asked about to drugs and rhythms, and to a source.
func checkDoubtful(file string, root *yaml.Node, list []Doubt) error {
	for i, d := range list {
		if err := d.wrong(); err != nil {
			return fmt.Errorf("%s:%d: doubtful, number %d: %w", file, lineOf(root, "doubtful", ""), i+1, err)
		}
	}
	return nil
}

func (d Doubt) wrong() error {
	unknown := slices.ContainsFunc(d.Rhythms, func(r Rhythm) bool { return r.Kind() == "" })
	switch {
	case d.Drug == "" || len(d.Rhythms) == 0 && d.Beside == "":
		return errors.New("want a drug, and rhythms or beside")
	case unknown:
		return fmt.Errorf("unknown rhythm among %v", d.Rhythms)
	case d.Source == "":
		return errors.New("no source: add source: \"guideline, year, section\"")
	}
	return nil
}

// text tells in what, or beside what, the drug is asked about.
func (d Doubt) text() string {
	if d.Beside != "" {
		return "asked about beside " + d.Beside
	}
	return "asked about in " + choice("", d.Rhythms).Text
}

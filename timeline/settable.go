package timeline

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Steps are the energies, in J and rising, that a defibrillator can be set to.
type Steps struct {
	Joules []float64 `yaml:"joules"`
	Source string    `yaml:"source"`
	Status string    `yaml:"status"`
}

// near is the step nearest to an energy, of two as near the higher, and none above most;
// 0 as most is no limit.
func (l Steps) near(joules, most float64) float64 {
	best := 0.0
	for _, step := range l.Joules {
		if (most == 0 || step <= most) && math.Abs(step-joules) <= math.Abs(best-joules) {
			best = step
		}
	}
	return or0(best, joules)
}

// above is the lowest step that an energy does not exceed.
func (l Steps) above(joules float64) float64 {
	i := slices.IndexFunc(l.Joules, func(step float64) bool { return step >= joules })
	if i < 0 {
		return joules
	}
	return l.Joules[i]
}

func or0(a, b float64) float64 {
	if a > 0 {
		return a
	}
	return b
}

// Syringe says how finely a volume can be drawn up, as far as to ToMl.
type Syringe struct {
	ToMl   float64 `yaml:"to_ml"` // 0: any
	StepMl float64 `yaml:"step_ml"`
	Source string  `yaml:"source"`
	Status string  `yaml:"status"`
}

// step is how finely ml can be drawn up; 0 if nothing says so.
func (p *Protocol) step(ml float64) float64 {
	for _, s := range p.DrawUp {
		if s.ToMl == 0 || ml <= s.ToMl {
			return s.StepMl
		}
	}
	return 0
}

// settable is an energy by weight as a defibrillator can be set to it.
func (p *Protocol) settable(c Computed) Computed {
	if c.PerKg {
		c.Value = p.EnergySteps.near(c.Value, c.Amount.Max)
		c.Estimated = p.guessed
	}
	return c
}

// drawable is a dose by an estimated weight as it can be drawn up: more digits would tell
// of a precision that no estimate has. Without a concentration it has two digits.
func (p *Protocol) drawable(c Computed, mgPerMl float64) Computed {
	if !c.PerKg || !p.guessed {
		return c
	}
	c.Estimated = true
	if c.Capped {
		return c
	}
	c.Value = p.drawn(c.Value, mgPerMl, math.Round)
	if c.Amount.Max > 0 {
		c.Value = min(c.Value, c.Amount.Max)
	}
	c.Value = math.Round(c.Value*1000) / 1000
	return c
}

// concentration is what a drug is drawn up from, in mg/mL, also for its dose with a pulse;
// 0 if it is not stated.
func (p *Protocol) concentration(drug string) float64 {
	return or0(p.Drugs[drug].MgPerMl, p.Drugs[strings.TrimSuffix(drug, "_infusion")].MgPerMl)
}

// drawn rounds a dose to a volume that can be drawn up, or to two digits.
func (p *Protocol) drawn(mg, mgPerMl float64, round func(float64) float64) float64 {
	if mg <= 0 {
		return mg
	}
	step := math.Pow(10, math.Floor(math.Log10(mg))-1)
	if mgPerMl > 0 {
		step = p.step(mg/mgPerMl) * mgPerMl
	}
	if step == 0 {
		return mg
	}
	return max(step, round(mg/step+1e-9)*step) // a half is one, whatever the binary digits say
}

// checkSteps holds what can be set and drawn up to rising numbers and a source.
func checkSteps(file string, root *yaml.Node, q Protocol) error {
	at := func(key, why string) error {
		return fmt.Errorf("%s:%d: %s: %s", file, lineOf(root, key, ""), key, why)
	}
	before := 0.0
	for _, j := range q.EnergySteps.Joules {
		if !within(maxJoules, j) || j <= before {
			return at("energy_steps", "want joules that rise, to 360 at most")
		}
		before = j
	}
	if before > 0 && q.EnergySteps.Source == "" {
		return at("energy_steps", "no source: add source: \"guideline, year, section\"")
	}
	for i, s := range q.DrawUp {
		rises := s.ToMl == 0 || i == 0 || s.ToMl > q.DrawUp[i-1].ToMl
		if !within(1000, s.ToMl, s.StepMl) || s.StepMl == 0 || !rises || s.Source == "" {
			return at("draw_up", "want step_ml above 0, to_ml that rises (the last without), and a source")
		}
	}
	return nil
}

// settableLines list what can be set and drawn up.
func (p *Protocol) settableLines() (out []Line) {
	if l := choiceOf(p.EnergySteps.Joules); l != "" {
		out = append(out, Line{"adult", "rule", "energy_steps", l + " J", p.EnergySteps.Source, p.EnergySteps.Status, nil})
	}
	for i, s := range p.DrawUp {
		text := "by " + FormatNumber(s.StepMl) + " mL"
		if s.ToMl > 0 {
			text += " to " + FormatNumber(s.ToMl) + " mL"
		}
		out = append(out, Line{"adult", "rule", fmt.Sprintf("draw_up %d", i+1), text, s.Source, s.Status, nil})
	}
	return out
}

func choiceOf(list []float64) string {
	words := make([]string, len(list))
	for i, x := range list {
		words[i] = FormatNumber(x)
	}
	return choice("", words).Text
}

package timeline

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// Amount is a dose or an energy as a guideline gives it: a fixed number, or
// one for each kilogram with limits. Doses are in mg, energies in J.
type Amount struct {
	Fixed      float64   `yaml:"fixed"`
	PerKg      float64   `yaml:"per_kg"`
	PerKgMax   float64   `yaml:"per_kg_max"` // upper end of a range; 0: no range
	Min        float64   `yaml:"min"`        // 0: none
	Max        float64   `yaml:"max"`        // 0: none
	AfterShock int       `yaml:"after_shock"`
	OverMin    float64   `yaml:"over_min"`   // minutes that it is given over; 0: at once
	MgMin      float64   `yaml:"mg_min"`     // mg a minute, instead of a dose
	MgMinMax   float64   `yaml:"mg_min_max"` // upper end of a range; 0: no range
	Maximum    bool      `yaml:"maximum"`    // the most that the defibrillator gives, instead of a number
	Source     string    `yaml:"source"`
	Status     string    `yaml:"status"`
	Readings   []Reading `yaml:"readings"` // of an unresolved one
}

// Drug is one drug of a protocol: its doses in order (the last one repeats),
// and what the protocol allows in all.
type Drug struct {
	MgPerMl       float64  `yaml:"mg_per_ml"`        // of the stated concentration; 0: volume is not spoken
	MaxDoses      int      `yaml:"max_doses"`        // 0: no limit
	MaxTotal      float64  `yaml:"max_total_mg"`     // 0: no limit
	MaxTotalPerKg float64  `yaml:"max_total_per_kg"` // 0: no limit
	Doses         []Amount `yaml:"doses"`
	Caution       string   `yaml:"caution"` // in what not to give it, an item of prompts/cues.yaml; spoken with it
	Source        string   `yaml:"source"`  // of the limits and the caution
	Status        string   `yaml:"status"`
}

// limited reports whether the protocol limits how often or how much in all, or
// in what it is given.
func (d Drug) limited() bool {
	return d.MaxDoses > 0 || d.MaxTotal > 0 || d.MaxTotalPerKg > 0 || d.Caution != ""
}

// cautioned returns a cue about the drug with its caution.
func (d Drug) cautioned(c Cue) Cue {
	if d.Caution != "" {
		c.Parts = append(slices.Clip(c.Parts), Cue{ID: "drug.not", Items: []string{d.Caution}})
	}
	return c
}

// Computed is an amount for this patient, with what it was computed from.
type Computed struct {
	Amount Amount
	Value  float64 // mg or J
	Ml     float64 // 0 if no concentration is stated
	PerKg  bool
	Capped bool // a limit changed the product
	Raised bool // and that limit was the least
	// Estimated: the weight is, so that a dose is rounded to what can be drawn up.
	Estimated bool
}

// For computes the amount for a patient of kg kilograms. ok is false if it
// depends on a weight that is not known (kg 0), or is no number: unresolved,
// the device's maximum, or a rate.
func (a Amount) For(kg float64) (c Computed, ok bool) {
	c = Computed{Amount: a, Value: a.Fixed}
	if a.Status == Unresolved || a.Maximum || a.MgMin > 0 {
		return Computed{Amount: a}, false
	}
	if a.PerKg > 0 {
		if kg <= 0 {
			return c, false
		}
		c.PerKg, c.Value = true, a.PerKg*kg
		limited := c.Value
		if a.Max > 0 {
			limited = math.Min(limited, a.Max)
		}
		c.Raised = limited < a.Min
		limited = math.Max(limited, a.Min)
		c.Capped, c.Value = limited != c.Value, limited
	}
	c.Value = math.Round(c.Value*1000) / 1000
	return c, true
}

// Dose computes the next dose of a drug after given earlier ones.
func (p *Protocol) Dose(drug string, given int, kg float64) (Computed, bool) {
	d, known := p.Drugs[drug]
	if !known || len(d.Doses) == 0 {
		return Computed{}, false
	}
	c, ok := d.Doses[min(given, len(d.Doses)-1)].For(kg)
	c = p.drawable(c, p.concentration(drug))
	if d.MgPerMl > 0 {
		c.Ml = math.Round(c.Value/d.MgPerMl*100) / 100
	}
	return c, ok
}

// TotalCap is the most of a drug that the protocol allows in all, in mg; 0 if
// it sets none or the weight that it needs is not known.
func (d Drug) TotalCap(kg float64) float64 {
	limit := d.MaxTotal
	if byWeight := d.MaxTotalPerKg * kg; byWeight > 0 && (limit == 0 || byWeight < limit) {
		limit = byWeight
	}
	return limit
}

// Energy computes the energy of the next defibrillation after given earlier
// ones.
func (p *Protocol) Energy(given int, kg float64) (Computed, bool) { return p.nth(p.Shocks, given, kg) }

// SyncEnergy computes the energy of the next synchronised shock for a rhythm.
func (p *Protocol) SyncEnergy(r Rhythm, given int, kg float64) (Computed, bool) {
	return p.nth(p.Sync[string(r)], given, kg)
}

// NextEnergy is the energy of the next shock in the pathway that holds: for a
// patient with a pulse a synchronised one, but for a polymorphic rhythm.
func (p *Protocol) NextEnergy(s State) (energy Computed, synced, ok bool) {
	kg, _ := p.Weight(s)
	given := s.shocksInAll()
	switch {
	case s.InArrest() || !s.Rhythm.Fast():
		energy, ok = p.Energy(given, kg)
		energy = p.asHigh(energy, s)
	case s.Rhythm == Torsades && len(p.Polymorphic) > 0:
		energy, ok = p.nth(p.Polymorphic, given, kg)
	case s.Rhythm == Torsades:
		energy, ok = p.Energy(given, kg)
	default:
		synced = true
		energy, ok = p.SyncEnergy(s.Rhythm, s.failed(), kg)
	}
	return energy, synced, ok
}

// failed counts the synchronised shocks of the present rhythm: a step up is for the
// rhythm that did not convert.
func (s State) failed() (n int) {
	for _, x := range s.Cardioversions() {
		if x.Rhythm == s.Rhythm {
			n++
		}
	}
	return n
}

// asHigh raises an energy to that of the shock before, if that was not too much: later
// shocks are the same or higher (AHA, ERC).
func (p *Protocol) asHigh(c Computed, s State) Computed {
	given := s.Defibrillations()
	if c.Value == 0 || len(given) == 0 {
		return c
	}
	if _, most := p.energyBounds(s); given[len(given)-1].Joules <= most {
		c.Value = max(c.Value, given[len(given)-1].Joules)
	}
	return c
}

func (p *Protocol) nth(list []Amount, given int, kg float64) (Computed, bool) {
	if len(list) == 0 {
		return Computed{}, false
	}
	c, ok := list[min(given, len(list)-1)].For(kg)
	return p.settable(c), ok
}

// weightRule estimates a weight in kg from an age in months; ok is false
// outside the ages that the rule was made for.
type weightRule struct {
	source string
	kg     func(months float64) (kg float64, ok bool)
}

// weightRules are published formulas by name; a protocol chooses one. A
// measured or length-tape weight always wins.
var weightRules = map[string]weightRule{
	"apls-updated": {
		"APLS manual, 5th edition (secondary): under 1 y 0.5 x months + 4; 1 to 5 y 2 x age + 8; 6 to 12 y 3 x age + 7",
		func(m float64) (float64, bool) {
			switch y := math.Floor(m / 12); {
			case m < 12:
				return 0.5*m + 4, true
			case y <= 5:
				return 2*y + 8, true
			default:
				return 3*y + 7, y <= 12
			}
		},
	},
	"apls-old": {
		"Luscombe and Owens, Arch Dis Child 2007;92:412: 2 x (age + 4), 1 to 10 y",
		func(m float64) (float64, bool) {
			y := math.Floor(m / 12)
			return 2 * (y + 4), y >= 1 && y <= 10
		},
	},
	"luscombe-owens": {
		"Luscombe and Owens, Arch Dis Child 2007;92:412: 3 x age + 7, 1 to 13 y",
		func(m float64) (float64, bool) {
			y := math.Floor(m / 12)
			return 3*y + 7, y >= 1 && y <= 13
		},
	},
	"best-guess": {
		"Tinning and Acworth, Resuscitation 2007 (secondary): under 1 y (months + 9)/2; " +
			"1 to 4 y 2 x (age + 5); 5 to 14 y 4 x age",
		func(m float64) (float64, bool) {
			switch y := math.Floor(m / 12); {
			case m < 12:
				return (m + 9) / 2, true
			case y < 5:
				return 2 * (y + 5), true
			default:
				return 4 * y, y <= 14
			}
		},
	},
}

// WeightRules lists the names of the published formulas.
func WeightRules() []string {
	var out []string
	for k := range weightRules {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}

// EstimateWeight applies a published formula to an age in months.
func EstimateWeight(rule string, months float64) (kg float64, source string, err error) {
	r, known := weightRules[rule]
	if !known {
		return 0, "", fmt.Errorf("no weight rule %q: choose one of %v", rule, WeightRules())
	}
	kg, ok := r.kg(months)
	if !ok {
		return 0, r.source, fmt.Errorf("weight rule %s does not cover an age of %s months", rule, FormatNumber(months))
	}
	return kg, r.source, nil
}

// numberless reports whether an amount is the highest allowed or a rate: there is
// no single dose to say.
func (a Amount) numberless() bool { return a.Maximum || a.MgMin != 0 }

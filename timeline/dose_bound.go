package timeline

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// perKg is the most of a drug for each kilogram in one dose, in mg.
func (d Drug) perKg() (most float64) {
	for _, a := range d.Doses {
		most = max(most, a.PerKg, a.PerKgMax)
	}
	return most
}

// checkDoses holds the drugs of an overlay to those of the protocol below it; variant is
// the kind of patient that they are of, empty for the adult.
func (p *Protocol) checkDoses(file string, root *yaml.Node, drugs map[string]Drug, variant string) error {
	for name, d := range drugs {
		if err := p.slip(name, d, variant); err != nil {
			return fmt.Errorf("%s:%d: drug %s: %w", file, lineOf(root, "drugs", name), name, err)
		}
	}
	return nil
}

// slip says what of a drug can only be a slip of the pen.
func (p *Protocol) slip(name string, d Drug, variant string) error {
	if list := sold[name]; len(list) > 0 && d.MgPerMl > 0 && !slices.Contains(list, d.MgPerMl) {
		return fmt.Errorf("%s mg/mL is not sold: choose one of %v", FormatNumber(d.MgPerMl), list)
	}
	if _, called := kinds.rows[Kind("drug."+strings.TrimSuffix(name, "_infusion"))]; !called {
		return errors.New("nobody calls such a drug, so that it would be without effect")
	}
	return p.slipOfDose(name, d, variant)
}

// slipOfDose says which dose is far from those below it, or an adult's for a child.
func (p *Protocol) slipOfDose(name string, d Drug, variant string) error {
	times := rules["overlay_times"].Value
	known, perKg, least := mostOf(p.Drugs[name].Doses, 0), p.Drugs[name].perKg(), p.Drugs[name].leastFixed()
	for _, v := range p.Variants {
		known, perKg = max(known, mostOf(v.Drugs[name].Doses, 0)), max(perKg, v.Drugs[name].perKg())
	}
	most, each, small := mostOf(d.Doses, 0), d.perKg(), d.leastFixed()
	child := OfChild(variant)
	if err := d.against(name, p.Drugs[name], variant); err != nil {
		return err
	}
	switch {
	case known > 0 && most > times*known || perKg > 0 && each > times*perKg:
		return fmt.Errorf("a dose of %s mg is more than %s times the largest below it, %s mg",
			FormatNumber(max(most, each)), FormatNumber(times), FormatNumber(known))
	case variant == "" && small > 0 && small*times < least:
		return fmt.Errorf("a dose of %s mg is less than the smallest below it, %s mg, by more than %s times",
			FormatNumber(small), FormatNumber(least), FormatNumber(times))
	case child && small > 0 && p.Variants["child"].Drugs[name].perKg() > 0:
		return errors.New("a child's dose goes by weight: give per_kg, not fixed")
	}
	return nil
}

// against says what of a drug contradicts what all guidelines give, or the order of the
// protocol below.
func (d Drug) against(name string, below Drug, variant string) error {
	if ofTheArrest(name) && slices.ContainsFunc(d.Doses, func(a Amount) bool { return a.OverMin > 0 }) {
		return errors.New("in the arrest it is given at once: over_min is for a dose with a pulse, NAME_infusion")
	}
	if err := d.aboveAll(name); err != nil || variant != "" {
		return err
	}
	return d.reversed(below)
}

// aboveAll says which dose is more than any guideline gives at once.
func (d Drug) aboveAll(name string) error {
	limit, known := singly[name]
	for _, a := range d.Doses {
		switch kg := max(a.PerKg, a.PerKgMax); {
		case !known:
		case kg > limit.PerKg*1.001:
			return fmt.Errorf("%s mg/kg is more than any guideline gives as one dose, %s mg/kg (%s)",
				FormatNumber(kg), FormatNumber(limit.PerKg), limit.Source)
		case max(a.Fixed, a.Max) > limit.Most*1.001:
			return fmt.Errorf("%s mg is more than any guideline gives as one dose, %s mg (%s)",
				FormatNumber(max(a.Fixed, a.Max)), FormatNumber(limit.Most), limit.Source)
		}
	}
	return nil
}

// reversed says what of the order of doses, or of the shocks behind which they are given, is
// not as in the protocol below.
func (d Drug) reversed(below Drug) error {
	if way := d.way(); way*below.way() < 0 {
		return errors.New("its doses stand in the opposite order to those below it")
	}
	shock := 0
	for i, a := range d.Doses {
		was := below.Doses[min(i, max(0, len(below.Doses)-1)):]
		missing := len(was) > 0 && was[0].AfterShock > 0 && a.AfterShock == 0
		if missing || a.AfterShock < shock || a.AfterShock > maxAfterShock {
			return fmt.Errorf("dose %d: want after_shock, the shock behind which it is given, rising, %d at most",
				i+1, maxAfterShock)
		}
		shock = a.AfterShock
	}
	return nil
}

// maxAfterShock is the latest shock that a site may wait for with a drug.
const maxAfterShock = 9

// way is above 0 if the doses rise, below if they fall.
func (d Drug) way() float64 {
	if len(d.Doses) == 0 {
		return 0
	}
	first, last := d.Doses[0], d.Doses[len(d.Doses)-1]
	return max(last.Fixed, last.PerKg) - max(first.Fixed, first.PerKg)
}

// leastFixed is the smallest dose that goes by no weight; 0 if there is none.
func (d Drug) leastFixed() float64 {
	least := 0.0
	for _, a := range d.Doses {
		if a.Fixed > 0 && (least == 0 || a.Fixed < least) {
			least = a.Fixed
		}
	}
	return least
}

// maxPerKg is the most energy for each kilogram, in J: AHA 2025 Part 8, 10 J/kg.
const maxPerKg = 10

// checkEnergies holds energies to what a defibrillator is set to: no less than is asked
// about, no more for each kilogram than any guideline gives, and none that falls.
func (p *Protocol) checkEnergies(file string, root *yaml.Node, sync map[string][]Amount, lists ...[]Amount) error {
	least := p.Get("shock_least_j")
	for _, list := range lists {
		before := 0.0
		for i, a := range list {
			at := fmt.Sprintf("%s:%d: shocks, number %d", file, lineOf(root, "shocks", ""), i+1)
			switch {
			case a.tooMuchPerKg():
				return fmt.Errorf("%s: more than %v J/kg", at, maxPerKg)
			case a.Fixed > 0 && a.Fixed < least:
				return fmt.Errorf("%s: below %s J, from which on it is asked about", at, FormatNumber(least))
			case under("shock_least_per_kg", a) || i == 0 && beyond("shock_first_per_kg", a):
				return fmt.Errorf("%s: guidelines begin with %s to %s J/kg", at,
					FormatNumber(rules["shock_least_per_kg"].Value), FormatNumber(rules["shock_first_per_kg"].Value))
			case max(a.Fixed, a.PerKg) < before:
				return fmt.Errorf("%s: %w", at, errFalls)
			}
			before = max(a.Fixed, a.PerKg)
		}
	}
	for rhythm, list := range sync {
		at := fmt.Sprintf("%s:%d: sync %s", file, lineOf(root, "sync", rhythm), rhythm)
		switch {
		case !Rhythm(rhythm).Fast():
			return fmt.Errorf("%s: no such fast rhythm: choose one of VT, SVT, AF, flutter", at)
		case slices.ContainsFunc(list, Amount.tooMuchPerKg):
			return fmt.Errorf("%s: more than %v J/kg", at, maxPerKg)
		}
		if err := p.slipOfSync(Rhythm(rhythm), list); err != nil {
			return fmt.Errorf("%s: %w", at, err)
		}
	}
	return nil
}

var errFalls = errors.New("less than the one before: later energies are the same or higher")

// slipOfSync says which energy of a synchronised shock can only be a slip: below or above
// what any guideline begins with, or one that falls.
func (p *Protocol) slipOfSync(r Rhythm, list []Amount) error {
	least, most := p.Get("sync_least_j"), p.Get("sync_first_most_j")
	if r == AF { // ERC: the device's maximum
		most = maxJoules
	}
	before := 0.0
	for i, a := range list {
		switch {
		case a.Fixed > 0 && a.Fixed < least:
			return fmt.Errorf("below %s J, the least that any guideline gives", FormatNumber(least))
		case i == 0 && a.Fixed > most:
			return fmt.Errorf("the first is above %s J, the most that any guideline begins with", FormatNumber(most))
		case i == 0 && beyond("sync_first_per_kg", a), beyond("sync_most_per_kg", a), under("sync_least_per_kg", a):
			return fmt.Errorf("guidelines give %s to %s J/kg first, and %s at most",
				FormatNumber(rules["sync_least_per_kg"].Value), FormatNumber(rules["sync_first_per_kg"].Value),
				FormatNumber(rules["sync_most_per_kg"].Value))
		case max(a.Fixed, a.PerKg) < before:
			return errFalls
		}
		before = max(a.Fixed, a.PerKg)
	}
	return nil
}

// beyond reports whether an energy by weight is above a rule, under whether it is below one.
func beyond(name string, a Amount) bool { return max(a.PerKg, a.PerKgMax) > rules[name].Value }

func under(name string, a Amount) bool { return a.PerKg > 0 && a.PerKg < rules[name].Value }

// tooMuchPerKg reports whether an energy is more for each kilogram than any guideline gives.
func (a Amount) tooMuchPerKg() bool { return a.PerKg > maxPerKg || a.PerKgMax > maxPerKg }

// Bound is an amount above which a drug is asked about that the protocol itself gives no
// dose of.
type Bound struct {
	Most   float64 `yaml:"most"`   // mg, or mEq of what is called so
	PerKg  float64 `yaml:"per_kg"` // of a child; 0: Most holds for all
	Source string  `yaml:"source"`
	Status string  `yaml:"status"`
}

// odd reports whether an amount that was called is above the bound; kg is the weight of a
// child, 0 of an adult and if it is not known.
func (b Bound) odd(amount, kg float64) bool {
	most := b.Most
	if b.PerKg > 0 && kg > 0 {
		most = min(most, b.PerKg*kg)
	}
	return most > 0 && amount > most*1.001
}

func (b Bound) text() string {
	s := "asked about above " + FormatNumber(b.Most)
	if b.PerKg > 0 {
		s += ", in a child above " + FormatNumber(b.PerKg) + " for each kg"
	}
	return s
}

// checkAskedAbove holds the bounds to drugs that a team can call, and to a source.
func checkAskedAbove(file string, root *yaml.Node, list map[string]Bound) error {
	for name, b := range list {
		_, known := kinds.rows[Kind("drug."+name)]
		if !known || !(b.Most > 0 && b.Most <= maxDose && b.PerKg >= 0) || b.Source == "" {
			return fmt.Errorf("%s:%d: asked_above %s: want a drug that is called, most (and per_kg) above 0 and a source",
				file, lineOf(root, "asked_above", name), name)
		}
	}
	return nil
}

// unusual asks about an amount that is far from what is given: above the bound where the
// protocol gives no dose, or in the arrest far below the smallest dose.
func (p *Protocol) unusual(s State, e Event, drug string) (Cue, bool) {
	d, kg := p.Drugs[drug], 0.0
	c, amount := usual(e, drug)
	if p.patient(s) != "" {
		kg, _ = p.Weight(s)
	}
	if _, dosed := d.most(0, kg); !dosed {
		return c, p.AskedAbove[drug].odd(amount, kg)
	}
	kg, _ = p.Weight(s)
	given := len(s.Doses(drug))
	next, ok := p.Dose(drug, given, kg)
	least := p.Get("dose_least_part") * d.least(given, kg)
	if drug == "epinephrine" || slices.Contains(p.Antiarrhythmics, drug) {
		least = max(least, d.below(amount, p.Get("dose_near_part")))
	}
	if !ok || !s.InArrest() || amount <= 0 || amount >= least*0.999 {
		return Cue{}, false
	}
	return Cue{ID: "question.drug.amount", Items: []string{drug}}.with("said_mg", amount).with("dose_mg", next.Value), true
}

// usual asks about the amount of a drug without telling another.
func usual(e Event, drug string) (c Cue, amount float64) {
	c = Cue{ID: "question.drug.usual", Items: []string{drug}}
	if meq := e.Values["dose_meq"]; meq > 0 {
		return c.with("said_meq", meq), meq
	}
	return c.with("said_mg", e.Milligrams()), e.Milligrams()
}

// unsureAmount asks about an amount that is too much for a weight that is in doubt, and for the
// one before it: until that is answered, no dose is told.
func (p *Protocol) unsureAmount(s State, e Event, drug string, kg float64) (c Cue, ok bool) {
	if kg > 0 || s.WeightKg == 0 || p.patient(s) == "" || p.Drugs[drug].perKg() == 0 {
		return Cue{}, false
	}
	most, ok := p.most(drug, len(s.Doses(drug)), max(s.WeightKg, s.weightWas))
	c, amount := usual(e, drug)
	return c, ok && amount > most*1.001
}

// below is the dose that an amount falls short of, if the drug goes by no weight and the
// amount is not that of any of its doses, but for a part of it; 0: it is, or more than all.
func (d Drug) below(amount, near float64) (dose float64) {
	for _, a := range d.Doses {
		switch off := math.Abs(amount - a.Fixed); {
		case a.Fixed == 0, off <= near*a.Fixed:
			return 0
		case amount < a.Fixed && (dose == 0 || a.Fixed < dose):
			dose = a.Fixed
		}
	}
	return dose
}

// least is the smallest single dose that is left after given earlier ones.
func (d Drug) least(given int, kg float64) float64 {
	least := 0.0
	for _, a := range d.Doses[min(given, max(0, len(d.Doses)-1)):] {
		if c, ok := a.For(kg); ok && (least == 0 || c.Value < least) {
			least = c.Value
		}
	}
	return least
}

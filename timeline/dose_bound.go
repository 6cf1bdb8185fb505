package timeline

import (
	"fmt"
	"slices"

	"go.yaml.in/yaml/v3"
)

// perKg is the most of a drug for each kilogram in one dose, in mg.
func (d Drug) perKg() (most float64) {
	for _, a := range d.Doses {
		most = max(most, a.PerKg, a.PerKgMax)
	}
	return most
}

// checkDoses holds the doses of an overlay to those of the protocol below it.
func (p *Protocol) checkDoses(file string, root *yaml.Node, drugs map[string]Drug) error {
	dearest := rules["overlay_times"].Value
	for name, d := range drugs {
		if list := sold[name]; len(list) > 0 && d.MgPerMl > 0 && !slices.Contains(list, d.MgPerMl) {
			return fmt.Errorf("%s:%d: drug %s: %s mg/mL is not sold: choose one of %v", file, lineOf(root, "drugs", name), name,
				FormatNumber(d.MgPerMl), list)
		}
		known, perKg := mostOf(p.Drugs[name].Doses, 0), p.Drugs[name].perKg()
		for _, v := range p.Variants {
			known, perKg = max(known, mostOf(v.Drugs[name].Doses, 0)), max(perKg, v.Drugs[name].perKg())
		}
		most, each := mostOf(d.Doses, 0), d.perKg()
		if known > 0 && most > dearest*known || perKg > 0 && each > dearest*perKg {
			return fmt.Errorf("%s:%d: drug %s: a dose of %s mg is more than %s times the largest below it, %s mg",
				file, lineOf(root, "drugs", name), name, FormatNumber(max(most, each)),
				FormatNumber(dearest), FormatNumber(known))
		}
	}
	return nil
}

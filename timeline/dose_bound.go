package timeline

import (
	"fmt"
	"math"

	"go.yaml.in/yaml/v3"
)

// largest is the most of a drug in one dose, in mg, or mg a kilogram.
func (d Drug) largest() (most, perKg float64) {
	for _, a := range d.Doses {
		most = math.Max(most, math.Max(a.Fixed, a.Max))
		perKg = math.Max(perKg, math.Max(a.PerKg, a.PerKgMax))
	}
	return most, perKg
}

// checkDoses holds the doses of an overlay to those of the protocol below it.
func (p *Protocol) checkDoses(file string, root *yaml.Node, drugs map[string]Drug) error {
	dearest := rules["overlay_times"].Value
	for name, d := range drugs {
		known, perKg := p.Drugs[name].largest()
		for _, v := range p.Variants {
			most, each := v.Drugs[name].largest()
			known, perKg = math.Max(known, most), math.Max(perKg, each)
		}
		most, each := d.largest()
		if known > 0 && most > dearest*known || perKg > 0 && each > dearest*perKg {
			return fmt.Errorf("%s:%d: drug %s: a dose of %s mg is more than %s times the largest below it, %s mg",
				file, lineOf(root, "drugs", name), name, FormatNumber(math.Max(most, each)),
				FormatNumber(dearest), FormatNumber(known))
		}
	}
	return nil
}

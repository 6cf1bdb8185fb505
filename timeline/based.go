package timeline

// "What is that based on": how an amount was reckoned, and the guideline that it is from.

import (
	"regexp"
	"strconv"
	"strings"
)

// guidelineName is how a source names the guideline and its year first, as the built-in protocols do.
var guidelineName = regexp.MustCompile(`^(AHA|ERC|Resuscitation Council UK) (\d{4})\b`)

var guidelineCues = map[string]string{"AHA": "basis.aha", "ERC": "basis.erc", "Resuscitation Council UK": "basis.rcuk"}

// guidelineOf tells the guideline and the year that a number's source names; nothing if that is no
// guideline, as of a site's own number.
func guidelineOf(source string) []Cue {
	m := guidelineName.FindStringSubmatch(source)
	if m == nil {
		return nil
	}
	year, _ := strconv.Atoi(m[2]) // four digits
	return []Cue{Cue{ID: guidelineCues[m[1]]}.with("year", float64(year))}
}

// guideline tells what the protocol as a whole rests on.
func (p *Protocol) guideline() []Cue {
	return guidelineOf(strings.Replace(strings.ToUpper(p.ID), "-", " ", 1))
}

// guidelineOf tells the guideline of a number of the protocol: of one that names it without the year it
// is that of the protocol.
func (p *Protocol) guidelineOf(source string) []Cue {
	name, _, _ := strings.Cut(strings.ToUpper(p.ID), "-")
	if of := guidelineOf(source); of != nil || !strings.HasPrefix(source, name+" ") {
		return of
	}
	return p.guideline()
}

// basis tells what the amount that was told last rests on, drug first, with the advice to
// check it.
func (m *Machine) basis(e Event, now Time) Cue {
	drug, told := m.amountTold(e)
	c := reply("answer.nothing", e, now, Answer)
	if !told {
		return c
	}
	if instead, none := m.noAmount(c, drug); drug != "" && none { // what was not told rests on nothing
		instead.Items = []string{drug}
		return instead
	}
	p := m.protocol.For(m.state)
	var parts []Cue
	check := p.guideline()
	if drug != "" {
		amount, _, ok := m.amount(drug)
		check = p.guidelineOf(amount.Amount.Source)
		if ok {
			parts = p.reckoned(m.state, drug, amount)
		}
	}
	parts = append(append(parts, check...), Cue{ID: "dose.check"})
	if drug != "" && drug != "shock" {
		c.ID, c.Items, c.Parts = "dose", []string{drug}, parts
		return c
	}
	c.ID, c.Values, c.Parts = parts[0].ID, parts[0].Values, parts[1:]
	return c
}

// reckoned tells how an amount was made: of the weight, and for a drug with its concentration.
func (p *Protocol) reckoned(s State, drug string, amount Computed) (out []Cue) {
	kg, _ := p.Weight(s)
	by := func(id string) Cue { return Cue{ID: id}.with("per_kg", amount.Amount.PerKg).with("weight_kg", kg) }
	switch {
	case amount.PerKg && drug == "shock":
		out = []Cue{by("dose.basis")}
	case amount.PerKg: // the amount stands between the weight and the concentration
		out = []Cue{by("dose.basis.drug"), Cue{ID: "dose.dose_mg"}.with("dose_mg", amount.Value)}
	}
	if amount.Ml > 0 && drug != "shock" {
		out = append(out, Cue{ID: "dose.concentration"}.with("mg_per_ml", p.Drugs[drug].MgPerMl))
	}
	if amount.PerKg && amount.Estimated {
		out = append(out, Cue{ID: "dose.estimated"})
	}
	return out
}

package timeline

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Line is one thing that a protocol says, as a person reads it.
type Line struct {
	Patient  string    `json:"patient"` // adult, child, infant or hypothermic
	Section  string    `json:"section"` // value, drug, shock, cardioversion, rule or note
	Name     string    `json:"name"`    // key in the protocol's file, with the place in its list
	Text     string    `json:"text"`    // number and unit, "none", or "clinician to decide"
	Source   string    `json:"source,omitempty"`
	Status   string    `json:"status"`
	Readings []Reading `json:"readings,omitempty"`
}

// Lines lists all that the protocol says: the adult's, then what it changes for
// each other kind of patient.
func (p *Protocol) Lines() []Line {
	adult := Variant{Values: p.Values, Drugs: p.Drugs, Shocks: p.Shocks, Sync: p.Sync, Causes: p.Causes}
	adult.WeightRule = p.WeightRule
	out := adult.lines("adult")
	for i, a := range p.Polymorphic {
		out = append(out, a.line("adult", "shock", fmt.Sprintf("polymorphic %d", i+1), "J"))
	}
	for i, a := range p.Monophasic {
		out = append(out, a.line("adult", "shock", fmt.Sprintf("shocks_monophasic %d", i+1), "J"))
	}
	out = append(out, choice("antiarrhythmics", p.Antiarrhythmics))
	out = append(out, choice("bradycardia", p.Bradycardia))
	out = append(out, choice("stable_vt", p.StableVT), choice("always_unstable", p.AlwaysUnstable))
	for _, name := range slices.Sorted(maps.Keys(p.Measured)) {
		r := p.Measured[name]
		out = append(out, Line{Patient: "adult", Section: "value", Name: "measured " + name, Text: r.text(), Source: r.Source,
			Status: r.Status})
	}
	for _, name := range slices.Sorted(maps.Keys(p.AskedAbove)) {
		b := p.AskedAbove[name]
		out = append(out, Line{"adult", "drug", name + " asked about", b.text(), b.Source, b.Status, nil})
	}
	out = append(out, p.settableLines()...)
	for _, d := range p.Doubtful {
		out = append(out, Line{"adult", "drug", d.Drug + " " + d.text(), d.text(), d.Source, d.Status, nil})
	}
	for _, topic := range slices.Sorted(maps.Keys(p.Notes)) {
		n := p.Notes[topic]
		out = append(out, Line{"adult", "note", topic, n.Text, n.Source, n.Status, n.Readings})
	}
	for _, patient := range slices.Sorted(maps.Keys(p.Variants)) {
		out = append(out, p.Variants[patient].lines(patient)...)
	}
	return out
}

func (v Variant) lines(patient string) []Line {
	var out []Line
	for _, name := range slices.Sorted(maps.Keys(v.Values)) {
		x := v.Values[name]
		out = append(out, Line{patient, "value", name, x.text(), x.Source, x.Status, x.Readings})
	}
	for _, name := range slices.Sorted(maps.Keys(v.Drugs)) {
		d := v.Drugs[name]
		for i, a := range d.Doses {
			out = append(out, a.line(patient, "drug", fmt.Sprintf("%s %d", name, i+1), "mg"))
		}
		if d.limited() {
			l := Line{Patient: patient, Section: "drug", Name: name + " in all", Text: d.limits()}
			l.Source, l.Status = d.Source, d.Status
			out = append(out, l)
		}
	}
	for i, a := range v.Shocks {
		out = append(out, a.line(patient, "shock", fmt.Sprintf("shocks %d", i+1), "J"))
	}
	for _, rhythm := range slices.Sorted(maps.Keys(v.Sync)) {
		for i, a := range v.Sync[rhythm] {
			out = append(out, a.line(patient, "cardioversion", fmt.Sprintf("%s %d", rhythm, i+1), "J"))
		}
	}
	if len(v.Causes) > 0 {
		out = append(out, Line{Patient: patient, Section: "rule", Name: "causes", Text: strings.Join(v.Causes, ", ")})
	}
	if len(v.Brady) > 0 {
		out = append(out, Line{Patient: patient, Section: "rule", Name: "bradycardia", Text: strings.Join(v.Brady, ", ")})
	}
	if v.WeightRule != "" {
		l := Line{Patient: patient, Section: "rule", Name: "weight_rule", Text: v.WeightRule}
		l.Source = weightRules[v.WeightRule].source
		out = append(out, l)
	}
	return out
}

func choice[T ~string](name string, list []T) Line {
	words := make([]string, len(list))
	for i, x := range list {
		words[i] = string(x)
	}
	text := strings.Join(words, ", ")
	if text == "" {
		text = "none"
	}
	return Line{Patient: "adult", Section: "rule", Name: name, Text: text}
}

// undecided is how a number reads that a clinician has to decide.
const undecided = "clinician to decide"

func (v Value) text() string {
	switch {
	case v.None:
		return "none"
	case v.Status == Unresolved && v.Value != 0:
		return undecided + " (" + measure(v.Value, v.Unit) + ", not spoken)"
	case v.Status == Unresolved:
		return undecided
	}
	return measure(v.Value, v.Unit)
}

// text tells what is asked about, and what opens a cause again.
func (r Range) text() string {
	s := fmt.Sprintf("asked about outside %s to %s", FormatNumber(r.Min), measure(r.Max, r.Unit))
	if r.OpenBelow > 0 {
		s += fmt.Sprintf("; below %s open again: %s", FormatNumber(r.OpenBelow), r.Cause)
	}
	if r.OpenAbove > 0 {
		s += fmt.Sprintf("; above %s open again: %s", FormatNumber(r.OpenAbove), r.Cause)
	}
	return s
}

// measure is a number with its unit (UCUM) as people write it.
func measure(x float64, unit string) string {
	switch {
	case unit == "1":
		return FormatNumber(x)
	case unit == "shocks" && x == 1:
		unit = "shock"
	}
	switch unit {
	case "a":
		unit = "years"
	case "mo":
		unit = "months"
	case "Cel":
		unit = "°C"
	case "mm[Hg]":
		unit = "mmHg"
	case "ug/min":
		unit = "µg/min"
	}
	return FormatNumber(x) + " " + unit
}

func (a Amount) line(patient, section, name, unit string) Line {
	l := Line{patient, section, name, "", a.Source, a.Status, a.Readings}
	switch {
	case a.Status == Unresolved:
		l.Text = undecided
	case a.Maximum:
		l.Text = "the device's maximum"
	case a.MgMin > 0:
		l.Text = spread(a.MgMin, a.MgMinMax) + " mg/min"
	case a.PerKg > 0:
		l.Text = fmt.Sprintf("%s %s/kg", spread(a.PerKg, a.PerKgMax), unit)
		if a.Min > 0 {
			l.Text += ", at least " + measure(a.Min, unit)
		}
		l.Text += ", at most " + measure(a.Max, unit)
	default:
		l.Text = measure(a.Fixed, unit)
	}
	if a.OverMin > 0 {
		l.Text += fmt.Sprintf(" over %s min", FormatNumber(a.OverMin))
	}
	if a.AfterShock > 0 {
		l.Text += fmt.Sprintf(", after shock %d", a.AfterShock)
	}
	return l
}

func spread(from, to float64) string {
	if to > from {
		return FormatNumber(from) + " to " + FormatNumber(to)
	}
	return FormatNumber(from)
}

func (d Drug) limits() string {
	var list []string
	if d.MaxDoses > 0 {
		list = append(list, fmt.Sprintf("%d doses", d.MaxDoses))
	}
	if d.MaxTotal > 0 {
		list = append(list, FormatNumber(d.MaxTotal)+" mg")
	}
	if d.MaxTotalPerKg > 0 {
		list = append(list, FormatNumber(d.MaxTotalPerKg)+" mg/kg")
	}
	if d.Caution != "" {
		list = append(list, "not in "+d.Caution)
	}
	return strings.Join(list, ", ")
}

// Difference is something that two protocols say differently; a side that says
// nothing about it has an empty Text.
type Difference struct {
	Patient string `json:"patient"`
	Section string `json:"section"`
	Name    string `json:"name"`
	A       Line   `json:"a"`
	B       Line   `json:"b"`
}

// Compare lists what two protocols say differently, in a's order and then b's.
// Sources alone make no difference.
func Compare(a, b *Protocol) []Difference {
	key := func(l Line) string { return l.Patient + "|" + l.Section + "|" + l.Name }
	index := func(list []Line) map[string]Line {
		m := map[string]Line{}
		for _, l := range list {
			m[key(l)] = l
		}
		return m
	}
	inA, inB := index(a.Lines()), index(b.Lines())
	var out []Difference
	for i, l := range slices.Concat(a.Lines(), b.Lines()) {
		k := key(l)
		if _, seen := inA[k]; i >= len(inA) && seen || inA[k].Text == inB[k].Text {
			continue
		}
		out = append(out, Difference{l.Patient, l.Section, l.Name, inA[k], inB[k]})
	}
	return out
}

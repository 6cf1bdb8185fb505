package review

import (
	"strconv"
	"strings"

	"coxswain/timeline/figures"
)

// markText is what a mark says: what its lane's name says already is left out.
func markText(lane, text string) string {
	if what, number, ok := strings.Cut(text, ", "); ok && lane == "shock" {
		return number
	} else if lane != "drug" {
		return what
	}
	return text
}

// heldTo is the name of what a figure is held against: in short where it is
// long, for the figure's own text says it.
func heldTo(text string) string {
	if textWidth(text) > 100 {
		return "held to"
	}
	return text
}

// DrawRunChart draws a run chart as SVG: points with the number of records of
// each month, mean, limits, and what the figure is held against. A month that is
// no chance is a filled square, so that it shows without colour.
func DrawRunChart(c RunChart, f figures.Definition) (string, error) {
	unit := f.Unit
	switch {
	case f.IsShare():
		unit = "share"
	case unit == "1":
		unit = "count"
	}
	d := Drawing{Title: c.ID + " by month", Axis: "month", UnderAx: "records", To: max(1, float64(len(c.Months)-1))}
	curve := Curve{Levels: []Level{{c.Mean, "mean"}}}
	if c.Limits {
		curve.Levels = append(curve.Levels, Level{c.Low, "limit"}, Level{c.High, "limit"})
	}
	if b := f.Benchmark; b != nil {
		for _, at := range []*float64{b.Min, b.Max} {
			if at != nil {
				curve.Levels = append(curve.Levels, Level{*at, heldTo(b.Text)})
			}
		}
	}
	for i, m := range c.Months {
		curve.Points = append(curve.Points, Point{float64(i), m.Median, m.Signal != ""})
		d.Ticks = append(d.Ticks, Tick{float64(i), m.Month})
		d.Under = append(d.Under, Tick{float64(i), strconv.Itoa(m.Records)})
	}
	d.Lanes = []Lane{{Name: unit, Curve: &curve}}
	return d.SVG()
}

package review

import (
	"strconv"
	"strings"

	"coxswain/timeline/figures"
)

// markText is what a mark says: what its lane's name says already is left out.
func markText(lane, text string) string {
	if _, number, ok := strings.Cut(text, ", "); ok && lane == "shock" {
		return number
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

// DrawRunChart draws a run chart as SVG: points with their spread and the number of
// records of each month, mean, limits, and what the figure is held against; shares in
// percent. A month that is no chance is a filled square, so that it shows without colour.
func DrawRunChart(c RunChart, f figures.Definition) (string, error) {
	unit, scale := f.Unit, 1.0
	switch {
	case f.IsShare():
		unit, scale = "%", 100
	case unit == "1":
		unit = "count"
	}
	d := Drawing{Title: c.ID + " by month", Axis: "month", UnderAx: "records", To: max(1, float64(len(c.Months)-1))}
	curve := Curve{Levels: []Level{{scale * c.Mean, "mean"}}}
	if c.Limits {
		curve.Levels = append(curve.Levels, Level{scale * c.Low, "lower limit"}, Level{scale * c.High, "upper limit"})
	}
	if b := f.Benchmark; b != nil {
		for _, at := range []*float64{b.Min, b.Max} {
			if at != nil {
				curve.Levels = append(curve.Levels, Level{scale * *at, heldTo(b.Text)})
			}
		}
	}
	for i, m := range c.Months {
		p := Point{X: float64(i), Y: scale * m.Median, Low: scale * m.Lower, High: scale * m.Upper, Out: m.Signal != ""}
		curve.Points = append(curve.Points, p)
		d.Ticks = append(d.Ticks, Tick{float64(i), m.Month})
		d.Under = append(d.Under, Tick{float64(i), strconv.Itoa(m.Records)})
	}
	d.Lanes = []Lane{{Name: unit, Curve: &curve}}
	return d.SVG()
}

package review

import "strings"

// markText is what a mark says: what its lane's name says already is left out.
func markText(lane, text string) string {
	if what, number, ok := strings.Cut(text, ", "); ok && lane == "shock" {
		return number
	} else if lane != "drug" {
		return what
	}
	return text
}

// DrawRunChart draws a run chart as SVG: points, mean, limits. A point outside
// the limits is a filled square, so that it shows without colour. unit is that
// of the figure, "1" for a share or a count.
func DrawRunChart(c RunChart, unit string) (string, error) {
	if unit == "1" {
		unit = "share or count"
	}
	d := Drawing{Title: c.ID + " by month", Axis: "month", To: max(1, float64(len(c.Months)-1))}
	curve := Curve{Levels: []float64{c.Mean}}
	if c.Limits {
		curve.Levels = append(curve.Levels, c.Low, c.High)
	}
	for i, m := range c.Months {
		curve.Points = append(curve.Points, Point{float64(i), m.Median, m.Outside})
		d.Ticks = append(d.Ticks, Tick{float64(i), m.Month})
	}
	d.Lanes = []Lane{{Name: unit, Curve: &curve}}
	return d.SVG()
}

package review

import (
	"math"
	"strconv"
	"strings"

	"coxswain/timeline"
	"coxswain/timeline/figures"
)

// markText is what a mark says: what its lane's name says already is left out.
func markText(lane, text string) string {
	if _, number, ok := strings.Cut(text, ", "); ok && lane == "shock" {
		return number
	}
	return text
}

// heldTo names a bound that a figure is held against, in the figure's unit: "5 min or less".
func heldTo(f figures.Definition, at float64, side string) string {
	text := timeline.FormatNumber(at)
	switch {
	case f.IsShare():
		text = timeline.FormatNumber(100*at) + " %"
	case f.Unit == "s" && at >= 60 && math.Mod(at, 60) == 0:
		text = timeline.FormatNumber(at/60) + " min"
	case f.Unit == "s":
		text += " s"
	}
	return text + " or " + side
}

// DrawRunChart draws a run chart as SVG: points with their spread and the number of
// records of each month, mean, limits, and what the figure is held against; shares in
// percent. A month that is no chance is a filled square, so that it shows without colour.
// It is so wide, or as a drawing is where width is 0.
func DrawRunChart(c RunChart, f figures.Definition, width float64) (string, error) {
	d := Drawing{
		Title:   f.Name + " by month",
		Axis:    "month",
		UnderAx: "records",
		To:      max(1, float64(len(c.Months)-1)),
		Width:   width,
	}
	curve := Curve{Floor: true, Least: 1}
	unit, scale := f.Unit, 1.0
	switch {
	case f.IsShare():
		unit, scale, curve.Least, curve.Most = "%", 100, 5, 100
	case unit == "1":
		unit, curve.Whole = "count", true
	}
	curve.Levels = []Level{{scale * c.Mean, "mean"}}
	if c.Limits { // from the top down, also where they are the same
		curve.Levels = []Level{{scale * c.High, "upper limit"}, curve.Levels[0], {scale * c.Low, "lower limit"}}
	}
	if b := f.Benchmark; b != nil {
		for _, x := range []struct {
			side string
			at   *float64
		}{{"more", b.Min}, {"less", b.Max}} {
			if x.at != nil {
				curve.Levels = append(curve.Levels, Level{scale * *x.at, heldTo(f, *x.at, x.side)})
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

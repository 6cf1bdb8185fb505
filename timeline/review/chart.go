package review

import (
	"math"
	"strconv"
	"strings"
	"time"

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
		Width:   width,
	}
	curve := Curve{Floor: true, Least: 1, Apart: 1}
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
	x := 0.0
	for i, m := range c.Months {
		if i > 0 {
			x = d.skip(x, c.Months[i-1].Month, m.Month)
		}
		p := Point{X: x, Y: scale * m.Median, Low: scale * m.Lower, High: scale * m.Upper, Out: m.Signal != ""}
		curve.Points = append(curve.Points, p)
		d.Ticks = append(d.Ticks, Tick{x, m.Month})
		d.Under = append(d.Under, Tick{x, strconv.Itoa(m.Records)})
	}
	d.To = max(1, x)
	d.Lanes = []Lane{{Name: unit, Curve: &curve}}
	return d.SVG()
}

// longestGap is how many months without a record keep their places. Where a clock that was wrong
// has put a record decades off, the axis is cut, and shows so.
const longestGap = 24

// skip is where the month after x lies, behind those without a record.
func (d *Drawing) skip(x float64, from, to string) float64 {
	const layout = "2006-01"
	a, erra := time.Parse(layout, from)
	b, errb := time.Parse(layout, to)
	gap := 12*(b.Year()-a.Year()) + int(b.Month()) - int(a.Month())
	if erra != nil || errb != nil {
		return x + 1
	}
	if gap > longestGap {
		d.Ticks = append(d.Ticks, Tick{x + 1, "..."})
		return x + 2
	}
	for k := 1; k < gap; k++ {
		d.Ticks = append(d.Ticks, Tick{x + float64(k), a.AddDate(0, k, 0).Format(layout)})
		d.Under = append(d.Under, Tick{x + float64(k), "0"})
	}
	return x + float64(max(gap, 1))
}

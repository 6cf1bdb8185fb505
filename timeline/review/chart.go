package review

import (
	"fmt"
	"strings"

	"coxswain/timeline"
)

// lanes are the rows of the chart for callouts, in order, by the table of kinds.
var lanes = []string{"rhythm", "shock", "drug", "other"}

// Chart draws the course of the code as SVG: when hands were on and off, and
// the callouts over minutes of the code. Every row has its name, every callout
// its own.
func Chart(r *Record) (string, error) {
	from := max(0, r.Started)
	minute := func(t timeline.Time) float64 { return (t - from).Seconds() / 60 }
	d := Drawing{Title: "course of the code", Axis: "minutes from the start of the code", To: max(1, minute(r.End))}
	for m, step := 0.0, max(1, niceStep(d.To, 12)); m <= d.To; m += step {
		d.Ticks = append(d.Ticks, Tick{m, fmt.Sprint(m)})
	}
	on, off := Lane{Name: "hands on"}, Lane{Name: "hands off"}
	for _, s := range r.Stretches {
		if s.What == "compressing" {
			on.Bands = append(on.Bands, Band{minute(s.From), minute(s.To), "#4d7c5b"})
		} else {
			off.Bands = append(off.Bands, Band{minute(s.From), minute(s.To), "#d9862b"})
		}
	}
	d.Lanes = []Lane{on, off}
	for _, name := range lanes {
		l := Lane{Name: name}
		for _, x := range r.Rows {
			if !x.Gone && (x.Group == "called" || x.Group == "amended") && x.At >= from && x.Kind.Row().Lane == name {
				l.Marks = append(l.Marks, Tick{minute(x.At), markText(name, x.Text)})
			}
		}
		d.Lanes = append(d.Lanes, l)
	}
	return d.SVG()
}

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

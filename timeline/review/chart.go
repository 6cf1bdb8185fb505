package review

import (
	"bytes"
	"image/color"
	"strings"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"

	"coxswain/timeline"
)

// Chart draws the course of the code as SVG: when hands were on and off, the
// shocks, drugs and rhythms over minutes of the code. Every row has its name.
func Chart(r *Record) (string, error) {
	p := plot.New()
	p.X.Label.Text = "minutes from the start of the code"
	rows := []string{"hands on", "hands off", "rhythm", "shock", "drug", "other"}
	p.NominalY(rows...)
	p.Y.Padding, p.Y.LineStyle.Width = vg.Points(2), 0
	from := max(0, r.Started)
	minute := func(t timeline.Time) float64 { return (t - from).Seconds() / 60 }
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, max(1, minute(r.End)), -0.5, 5.5
	for _, s := range r.Stretches {
		y, ink := 0.0, color.RGBA{0x4d, 0x7c, 0x5b, 0xff}
		if s.What != "compressing" {
			y, ink = 1, color.RGBA{0xd9, 0x86, 0x2b, 0xff}
		}
		a, b := minute(s.From), minute(s.To)
		box, err := plotter.NewPolygon(plotter.XYs{{X: a, Y: y - 0.3}, {X: b, Y: y - 0.3}, {X: b, Y: y + 0.3}, {X: a, Y: y + 0.3}})
		if err != nil {
			return "", err
		}
		box.Color, box.LineStyle.Width = ink, 0
		p.Add(box)
	}
	if err := chartEvents(p, r, minute); err != nil {
		return "", err
	}
	return svg(p, 6)
}

// lanes are the rows of the chart for callouts, by the table of kinds.
var lanes = map[string]float64{"rhythm": 2, "shock": 3, "drug": 4, "other": 5}

// chartEvents marks the callouts, each in the row of its kind.
func chartEvents(p *plot.Plot, r *Record, minute func(timeline.Time) float64) error {
	var at plotter.XYs
	var names []string
	free := map[float64]float64{} // minute from which a row has room for a name
	for _, x := range r.Rows {
		if x.Gone || x.Group != "called" && x.Group != "amended" || x.At < max(0, r.Started) {
			continue
		}
		y, drawn := lanes[x.Kind.Row().Lane]
		if !drawn {
			continue
		}
		at = append(at, plotter.XY{X: minute(x.At), Y: y})
		name, _, _ := strings.Cut(x.Text, ",")
		if y != 2 && y != 4 || minute(x.At) < free[y] {
			name = "" // the row says it, or there is no room: the table names them all
		} else {
			free[y] = minute(x.At) + p.X.Max/8
		}
		names = append(names, name)
	}
	if len(at) == 0 {
		return nil
	}
	dots, err := plotter.NewScatter(at)
	if err != nil {
		return err
	}
	dots.Shape, dots.Radius = draw.PyramidGlyph{}, vg.Points(2.5)
	labels, err := plotter.NewLabels(plotter.XYLabels{XYs: at, Labels: names})
	if err != nil {
		return err
	}
	labels.Offset = vg.Point{X: vg.Points(3), Y: vg.Points(-2)}
	for i := range labels.TextStyle {
		labels.TextStyle[i].Font.Size = vg.Points(6)
	}
	p.Add(dots, labels)
	return nil
}

// DrawRunChart draws a run chart as SVG: points, mean, limits. A point outside
// the limits is a filled square, so that it shows without colour.
func DrawRunChart(c RunChart, unit string) (string, error) {
	p := plot.New()
	p.Y.Label.Text = unit
	if unit == "1" {
		p.Y.Label.Text = "share or count"
	}
	var all, out plotter.XYs
	var names []string
	for i, m := range c.Months {
		names = append(names, m.Month)
		all = append(all, plotter.XY{X: float64(i), Y: m.Median})
		if m.Outside {
			out = append(out, all[i])
		}
	}
	for i := range names { // room for a dozen names
		if i%(1+len(names)/12) != 0 {
			names[i] = ""
		}
	}
	p.NominalX(names...)
	line, dots, err := plotter.NewLinePoints(all)
	if err != nil {
		return "", err
	}
	dots.Shape = draw.RingGlyph{}
	p.Add(line, dots)
	if len(out) > 0 {
		marked, err := plotter.NewScatter(out)
		if err != nil {
			return "", err
		}
		marked.Shape, marked.Radius = draw.BoxGlyph{}, vg.Points(4)
		p.Add(marked)
	}
	levels := []float64{c.Mean}
	if c.Limits {
		levels = append(levels, c.Low, c.High)
	}
	for _, y := range levels {
		l, err := plotter.NewLine(plotter.XYs{{X: 0, Y: y}, {X: float64(max(1, len(all)-1)), Y: y}})
		if err != nil {
			return "", err
		}
		l.Dashes = []vg.Length{vg.Points(4), vg.Points(3)}
		p.Add(l)
	}
	return svg(p, 5)
}

func svg(p *plot.Plot, height vg.Length) (string, error) {
	c := vgsvg.New(18*vg.Centimeter, height*vg.Centimeter)
	p.Draw(draw.New(c))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return "", err
	}
	return b.String()[strings.Index(b.String(), "<svg"):], nil
}

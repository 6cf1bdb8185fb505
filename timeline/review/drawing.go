package review

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"math"
	"strings"
)

// Drawing is a chart over one axis, in units of that axis: lanes under each
// other, each with its name. The same description serves the report, the strip
// of the page and the run charts.
type Drawing struct {
	Title    string // for who cannot see it
	Axis     string // what the axis counts
	From, To float64
	Ticks    []Tick
	Lanes    []Lane
}

// Tick is a labelled place on an axis.
type Tick struct {
	At   float64
	Text string
}

// Lane is a row of a drawing. It has bands and marks, or a curve.
type Lane struct {
	Name  string
	Bands []Band
	Marks []Tick
	Curve *Curve
}

// Band is a stretch of a lane.
type Band struct {
	From, To float64
	Colour   string // of CSS
}

// Curve is a lane with a scale of its own, drawn upwards.
type Curve struct {
	Points []Point
	Levels []float64 // drawn as broken lines
}

// Point is a value of a curve; Out marks one that lies outside the limits.
type Point struct {
	X, Y float64
	Out  bool
}

// Measures of a drawing in units of the SVG, which is drawn as wide as its
// place allows.
const (
	drawingWidth = 760.0
	leastGutter  = 90.0  // left of the axis, for names and scales
	rim          = 14.0  // right of the last tick
	rowHeight    = 14.0  // of a row of marks
	bandHeight   = 12.0  // of a lane of bands
	curveHeight  = 150.0 // of a lane with a curve
	gap          = 6.0   // between lanes
	markWidth    = 8.0
	fontSize     = 10.0
)

//go:embed drawing.svg
var drawingText string

var drawingSVG = template.Must(template.New("drawing").Parse(drawingText))

// shape is one thing to draw, of the kinds that drawing.svg knows.
type shape struct {
	Kind         string // name, axis, grid, band, mark, level, ring, box, label
	X, Y, W, H   float64
	Text, Anchor string
	Colour       string
	Path         string
}

// SVG draws it. Marks whose names would touch each other are set into rows.
func (d Drawing) SVG() (string, error) {
	shapes, height := d.layout()
	var b bytes.Buffer
	err := drawingSVG.Execute(&b, map[string]any{"Title": d.Title, "Width": drawingWidth, "Height": height, "Shapes": shapes})
	return strings.TrimSpace(b.String()), err
}

// gutter is the room for the names of the lanes.
func (d Drawing) gutter() float64 {
	w := leastGutter
	for _, l := range d.Lanes {
		w = math.Max(w, 1.1*textWidth(l.Name)+8) // bold
	}
	return math.Min(w, drawingWidth/3)
}

// x is where a value lies on the axis.
func (d Drawing) x(at float64) float64 {
	span := math.Max(d.To-d.From, 1e-9)
	return d.gutter() + (math.Min(math.Max(at, d.From), d.To)-d.From)/span*(drawingWidth-d.gutter()-rim)
}

// layout places everything; it returns the height that this takes.
func (d Drawing) layout() (shapes []shape, height float64) {
	y, left := gap, d.gutter()
	for _, l := range d.Lanes {
		inside, h := d.lane(l, y)
		name := shape{Kind: "name", X: left - 8, Y: y + fontSize, Text: l.Name, Anchor: "end"}
		if l.Curve != nil { // its scale stands at the lane's left
			name.X, name.Anchor = 0, "start"
		}
		shapes = append(append(shapes, name), inside...)
		y += h + gap
	}
	free := 0.0
	for _, t := range d.Ticks {
		x, w := d.x(t.At), textWidth(t.Text)
		shapes = append(shapes, shape{Kind: "grid", X: x, Y: gap, H: y - gap})
		if x = math.Min(x, drawingWidth-w/2); x-w/2 >= free { // room for its text
			shapes = append(shapes, shape{Kind: "label", X: x, Y: y + fontSize + 2, Text: t.Text, Anchor: "middle"})
			free = x + w/2 + 4
		}
	}
	shapes = append(shapes, shape{Kind: "axis", X: left, Y: y, W: drawingWidth - left - rim},
		shape{Kind: "label", X: drawingWidth - rim, Y: y + 2*fontSize + 6, Text: d.Axis, Anchor: "end"})
	return shapes, y + 2*fontSize + 12
}

// lane draws one lane from y down, and returns its height.
func (d Drawing) lane(l Lane, y float64) ([]shape, float64) {
	if l.Curve != nil {
		return d.curve(*l.Curve, y), curveHeight
	}
	var out []shape
	for _, b := range l.Bands {
		out = append(out, shape{Kind: "band", X: d.x(b.From), Y: y, W: math.Max(1, d.x(b.To)-d.x(b.From)), H: bandHeight, Colour: b.Colour})
	}
	rows := []float64{} // up to where each row is taken
	for _, m := range l.Marks {
		s := shape{Kind: "mark", X: d.x(m.At), Text: m.Text, Anchor: "start"}
		from, to := s.X-markWidth/2, s.X+markWidth+textWidth(m.Text)
		if to > drawingWidth { // no room on the right
			s.Anchor = "end"
			from, to = s.X-markWidth-textWidth(m.Text), s.X+markWidth/2
		}
		row := 0
		for row < len(rows) && from < rows[row] {
			row++
		}
		if row == len(rows) {
			rows = append(rows, 0)
		}
		rows[row] = to + 4
		s.Y = y + float64(row)*rowHeight + rowHeight/2
		out = append(out, s)
	}
	return out, math.Max(bandHeight, float64(len(rows))*rowHeight)
}

// curve draws points, the line through them, levels and their scale.
func (d Drawing) curve(c Curve, top float64) []shape {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range c.Points {
		low, high = math.Min(low, p.Y), math.Max(high, p.Y)
	}
	for _, v := range c.Levels {
		low, high = math.Min(low, v), math.Max(high, v)
	}
	left := d.gutter()
	step := niceStep(math.Max(high-low, 1e-9*math.Max(1, math.Abs(high))), 5)
	low, high = math.Floor(low/step)*step, math.Ceil(high/step)*step
	if high <= low {
		high = low + step
	}
	y := func(v float64) float64 { return top + 2*fontSize + (high-v)/(high-low)*(curveHeight-3*fontSize) }
	var out []shape
	for k := 0; low+float64(k)*step <= high+step/2; k++ {
		v := low + float64(k)*step
		out = append(out, shape{Kind: "label", X: left - 8, Y: y(v) + fontSize/3, Text: fmt.Sprintf("%.6g", math.Round(v/step)*step), Anchor: "end"},
			shape{Kind: "axis", X: left - 4, Y: y(v), W: 4})
	}
	for _, v := range c.Levels {
		out = append(out, shape{Kind: "level", X: left, Y: y(v), W: drawingWidth - left - rim})
	}
	var path strings.Builder
	for i, p := range c.Points {
		fmt.Fprintf(&path, "%c%.1f %.1f", "ML"[min(i, 1)], d.x(p.X), y(p.Y))
	}
	out = append(out, shape{Kind: "curve", Path: path.String()})
	for _, p := range c.Points {
		kind := "ring"
		if p.Out {
			kind = "box"
		}
		out = append(out, shape{Kind: kind, X: d.x(p.X), Y: y(p.Y)})
	}
	return out
}

// niceStep is the step of 1, 2 or 5 times a power of ten that cuts a span into
// at most so many parts.
func niceStep(span float64, parts int) float64 {
	for step := math.Pow(10, math.Floor(math.Log10(span/float64(parts)))); ; step *= 10 {
		for _, m := range []float64{1, 2, 5} {
			if span/(m*step) <= float64(parts) {
				return m * step
			}
		}
	}
}

// textWidth is at most how wide a text is drawn, with the widest of the usual
// sans-serif fonts (DejaVu Sans, advance widths).
func textWidth(text string) float64 {
	w := 0.0
	for _, r := range text {
		switch {
		case strings.ContainsRune("ijl.,:;'|!() ", r):
			w += 0.40
		case strings.ContainsRune("mwMW%@", r):
			w += 1.0
		case r >= 'A' && r <= 'Z':
			w += 0.77
		default:
			w += 0.645
		}
	}
	return w * fontSize
}

package review

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strings"
)

// Drawing is a chart over one axis, in units of that axis: lanes under each
// other, each with its name. The same description serves the report, the strip
// of the page and the run charts.
type Drawing struct {
	Title    string // for who cannot see it
	Axis     string // what the axis counts
	From, To float64
	Width    float64 // in units of the SVG; 0: drawingWidth
	Ticks    []Tick
	Under    []Tick // a second row of names, under an axis of its own name
	UnderAx  string
	Behind   []Band // stretches behind all lanes
	Lanes    []Lane
}

// Tick is a labelled place on an axis.
type Tick struct {
	At   float64
	Text string
}

// Lane is a row of a drawing. It has bands and marks, a wave, or a curve.
type Lane struct {
	Name   string
	Bands  []Band
	Marks  []Tick
	Rows   int       // most rows of marks with their names; 0: as many as it takes
	Wave   []float64 // loudness over the axis, 0 to 1, evenly spaced; NaN: nothing to draw
	Colour string    // of CSS, of the wave
	Curve  *Curve
}

// Band is a stretch of a lane.
type Band struct {
	From, To float64
	Colour   string // of CSS
	Text     string // written in it where there is room
	Short    string // written instead where there is not
	Hollow   bool   // with a rim, to be told apart without colour
}

// Measures of a drawing in units of the SVG, which is drawn as wide as its
// place allows.
const (
	drawingWidth = 760.0
	leastGutter  = 90.0  // left of the axis, for names and scales
	leastRim     = 14.0  // right of the last tick
	rowHeight    = 14.0  // of a row of marks
	bandHeight   = 12.0  // of a lane of bands
	curveHeight  = 150.0 // of a lane with a curve
	gap          = 6.0   // between lanes
	waveHeight   = 34.0
	markWidth    = 8.0
	fontSize     = 10.0
)

//go:embed drawing.svg
var drawingText string

var drawingSVG = template.Must(template.New("drawing").Parse(drawingText))

// shape is one thing to draw, of the kinds that drawing.svg knows.
type shape struct {
	Kind         string // name, axis, grid, band, word, mark, tick, wave, curve, level, spread, ring, box, label
	X, Y, W, H   float64
	Text, Anchor string
	Colour       string
	Hollow       bool
	Path         string
}

// SVG draws it. Marks whose names would touch each other are set into rows.
func (d Drawing) SVG() (string, error) {
	shapes, height := d.layout()
	var b bytes.Buffer
	err := drawingSVG.Execute(
		&b,
		map[string]any{
			"D":      d,
			"Width":  d.width(),
			"Height": height,
			"Left":   d.gutter(),
			"Right":  d.width() - d.rim(),
			"Shapes": shapes,
		},
	)
	return strings.TrimSpace(b.String()), err
}

func (d Drawing) width() float64 {
	if d.Width > 0 {
		return d.Width
	}
	return drawingWidth
}

// gutter is the room for the names of the lanes; beside a curve only its scale and the names of
// the axis stand.
func (d Drawing) gutter() float64 {
	w := leastGutter
	if len(d.Lanes) == 1 && d.Lanes[0].Curve != nil {
		w = math.Max(textWidth(d.Axis), textWidth(d.UnderAx)) + 8
	}
	for _, l := range d.Lanes {
		w = math.Max(w, 1.1*textWidth(l.Name)+8) // bold
	}
	return math.Min(w, d.width()/3)
}

// rim is the room right of the axis: for the last name of it, and for what the
// levels of a curve are.
func (d Drawing) rim() float64 {
	w := leastRim
	for _, l := range d.Lanes {
		if l.Curve == nil {
			continue
		}
		for _, v := range l.Curve.Levels {
			w = math.Max(w, textWidth(v.Text)+14)
		}
	}
	return math.Min(w, d.width()/3)
}

// x is where a value lies on the axis.
func (d Drawing) x(at float64) float64 {
	span := math.Max(d.To-d.From, 1e-9)
	return d.gutter() + (math.Min(math.Max(at, d.From), d.To)-d.From)/span*(d.width()-d.gutter()-d.rim())
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
	for _, t := range d.Ticks {
		shapes = append(shapes, shape{Kind: "grid", X: d.x(t.At), Y: gap, H: y - gap})
	}
	behind := make([]shape, 0, len(d.Behind)+len(shapes)) // first, so that everything stands on it
	for _, b := range slices.Backward(d.Behind) {
		s := shape{Kind: "band", X: d.x(b.From), Y: gap, W: d.x(b.To) - d.x(b.From), H: y - gap, Colour: b.Colour}
		behind = append(behind, s)
	}
	shapes = append(behind, shapes...)
	shapes = append(shapes, shape{Kind: "axis", X: left, Y: y, W: d.width() - left - d.rim()})
	shapes = append(shapes, d.names(d.Ticks, y+fontSize+2)...)
	if d.UnderAx == "" {
		name := shape{Kind: "label", X: d.width() - d.rim(), Y: y + 2*fontSize + 6, Text: d.Axis, Anchor: "end"}
		return append(shapes, name), y + 2*fontSize + 12
	}
	for i, name := range []string{d.Axis, d.UnderAx} {
		shapes = append(
			shapes,
			shape{Kind: "label", X: left - 8, Y: y + float64(i)*(fontSize+3) + fontSize + 2, Text: name, Anchor: "end"},
		)
	}
	y += fontSize + 3
	return append(shapes, d.names(d.Under, y+fontSize+2)...), y + fontSize + 8
}

// names writes the names of an axis' places, those that have room.
func (d Drawing) names(ticks []Tick, y float64) (out []shape) {
	left := 0.0
	if d.UnderAx != "" {
		left = d.gutter() - 4 // the axis' name stands left of it
	}
	free := left
	for _, t := range ticks {
		w := textWidth(t.Text)
		if x := math.Max(left+w/2, math.Min(d.x(t.At), d.width()-w/2)); x-w/2 >= free {
			out = append(out, shape{Kind: "label", X: x, Y: y, Text: t.Text, Anchor: "middle"})
			free = x + w/2 + 4
		}
	}
	return out
}

// lane draws one lane from y down, and returns its height.
func (d Drawing) lane(l Lane, y float64) ([]shape, float64) {
	switch {
	case l.Curve != nil:
		return d.curve(*l.Curve, y), curveHeight
	case l.Wave != nil:
		return []shape{{Kind: "wave", Path: d.wave(l.Wave, y), Colour: l.Colour}}, waveHeight
	}
	marks, rows := d.marks(l, y)
	return append(d.bands(l, y), marks...), math.Max(bandHeight, float64(rows)*rowHeight)
}

// touches reports whether the band s is alike and beside the one before it, which has room to be told apart.
func (before shape) touches(s shape) bool {
	return before.Colour == s.Colour && before.W > 3 && before.X+before.W > s.X-1
}

// bands draws a lane's bands, each with its text where there is room: that of a hollow one, which
// is short and tells more than what follows, behind it if it must be.
func (d Drawing) bands(l Lane, y float64) (out []shape) {
	in := slices.DeleteFunc(slices.Clone(l.Bands), func(b Band) bool { return b.To <= d.From || b.From >= d.To })
	var rims, words []shape // over all bands
	free := 0.0             // from here on nothing is written yet
	for i, b := range in {
		s := shape{Kind: "band", X: d.x(b.From), Y: y, H: bandHeight, Colour: b.Colour, Hollow: b.Hollow}
		s.W = math.Max(1, d.x(b.To)-s.X)
		if last := len(out) - 1; last >= 0 && out[last].touches(s) {
			out[last].W-- // told apart
		}
		if b.Hollow {
			rims = append(rims, s)
		} else {
			out = append(out, s)
		}
		write := func(kind, text string, from, to float64) bool {
			x := math.Max(from, free) + 2
			if text == "" || x+textWidth(text)+2 >= to {
				return false
			}
			words = append(words, shape{Kind: kind, X: x, Y: y + fontSize, Text: text, Anchor: "start"})
			free = x + textWidth(text) + 2
			return true
		}
		if end := s.X + s.W; write("word", b.Text, s.X, end) || write("word", b.Short, s.X, end) || !b.Hollow {
			continue
		}
		kind, to := "label", d.width() // on the ground
		if i+1 < len(in) {
			if to = d.x(in[i+1].From); to-s.X-s.W < 1 {
				kind, to = "word", d.x(in[i+1].To)
			}
		}
		_ = write(kind, b.Text, s.X+s.W, to) || write(kind, b.Short, s.X+s.W, to)
	}
	return slices.Concat(out, rims, words)
}

// marks sets a lane's marks into rows, so that no name touches another. Beyond
// the most rows that the lane has, marks stand without their names in one more.
func (d Drawing) marks(l Lane, y float64) (out []shape, rows int) {
	taken, bare := []float64{}, 0 // up to where each row is taken; a row of marks without names
	for _, m := range l.Marks {
		s := shape{Kind: "mark", X: d.x(m.At), Text: m.Text, Anchor: "start"}
		from, to := s.X-markWidth/2, s.X+markWidth+textWidth(m.Text)
		if to > d.width() { // no room on the right
			s.Anchor = "end"
			from, to = s.X-markWidth-textWidth(m.Text), s.X+markWidth/2
		}
		row := 0
		for row < len(taken) && from < taken[row] {
			row++
		}
		switch {
		case row < len(taken):
			taken[row] = to + 4
		case l.Rows == 0 || row < l.Rows:
			taken = append(taken, to+4)
		default:
			s.Kind, s.Text, row = "tick", "", l.Rows
			bare = 1
		}
		s.Y = y + float64(row)*rowHeight + rowHeight/2
		out = append(out, s)
	}
	return out, len(taken) + bare
}

// wave is the outline of a loudness around the middle of its lane.
func (d Drawing) wave(loud []float64, top float64) string {
	var b strings.Builder
	step := (d.width() - d.rim() - d.gutter()) / math.Max(1, float64(len(loud)))
	mid := top + waveHeight/2
	for i, v := range loud {
		if math.IsNaN(v) {
			continue
		}
		h := math.Max(0.5, math.Min(1, v)*waveHeight/2)
		fmt.Fprintf(&b, "M%.1f %.1fv%.1f", d.gutter()+(float64(i)+0.5)*step, mid-h, 2*h)
	}
	return b.String()
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

package review

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Curve is a lane with a scale of its own, drawn upwards.
type Curve struct {
	Points []Point
	Levels []Level // drawn as broken lines
	Floor  bool    // it is never below 0
	Most   float64 // nor above this, if that is not 0
	Least  float64 // the scale goes at least so far to both sides of what never changes
	Whole  bool    // it counts: its scale has whole numbers only
	Apart  float64 // points that are further from each other are not joined; 0: all are
}

// Level is a value of a curve's scale and what it is.
type Level struct {
	At   float64
	Text string
}

// Point is a value of a curve; Out marks one that lies outside the limits. From Low to
// High goes its spread, if it has one.
type Point struct {
	X, Y      float64
	Low, High float64
	Out       bool
}

func (p Point) spread() bool { return p.High > p.Low }

// scale is what a curve's scale goes from and to, and the step of its numbers.
func (c Curve) scale() (low, high, step float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range c.Points {
		low, high = math.Min(low, p.Y), math.Max(high, p.Y)
		if p.spread() {
			low, high = math.Min(low, p.Low), math.Max(high, p.High)
		}
	}
	for _, v := range c.Levels {
		low, high = math.Min(low, v.At), math.Max(high, v.At)
	}
	// What is the same all the time gets no scale of its rounding.
	if least := math.Max(0.02*math.Abs(high), math.Max(c.Least, 1e-6)); high-low < least {
		low, high = low-least, high+least
		if c.Floor {
			low = math.Max(0, low)
		}
		if c.Most > 0 {
			high = math.Min(c.Most, high)
		}
	}
	step = niceStep(high-low, 5)
	if c.Whole {
		step = math.Max(1, step)
	}
	low, high = math.Floor(low/step)*step, math.Ceil(high/step)*step
	if high <= low {
		high = low + step
	}
	return low, high, step
}

// curve draws points, the line through them, levels and their scale.
func (d Drawing) curve(c Curve, top float64) []shape {
	low, high, step := c.scale()
	left := d.gutter()
	y := func(v float64) float64 { return top + 2*fontSize + (high-v)/(high-low)*(curveHeight-3*fontSize) }
	var out []shape
	for k := 0; low+float64(k)*step <= high+step/2; k++ {
		v := low + float64(k)*step
		out = append(
			out,
			shape{
				Kind:   "label",
				X:      left - 8,
				Y:      y(v) + fontSize/3,
				Text:   fmt.Sprintf("%.6g", math.Round(v/step)*step),
				Anchor: "end",
			},
			shape{Kind: "axis", X: left - 4, Y: y(v), W: 4},
		)
	}
	out = append(out, d.levels(c, top, y)...)
	var path strings.Builder
	for i, p := range c.Points {
		move := 'L'
		if i == 0 || c.Apart > 0 && p.X-c.Points[i-1].X > c.Apart {
			move = 'M'
		}
		fmt.Fprintf(&path, "%c%.1f %.1f", move, d.x(p.X), y(p.Y))
	}
	out = append(out, shape{Kind: "curve", Path: path.String()})
	side := d.side(c)
	for _, p := range c.Points {
		kind := "ring"
		if p.Out {
			kind = "box"
		}
		if p.spread() {
			out = append(out, shape{Kind: "spread", X: d.x(p.X), Y: y(p.High), H: y(p.Low) - y(p.High)})
		}
		out = append(out, shape{Kind: kind, X: d.x(p.X), Y: y(p.Y), W: side, H: side / 2})
	}
	return out
}

// side is how wide a mark of a curve is: less where many would run into one.
func (d Drawing) side(c Curve) float64 {
	side := markWidth
	for i := 1; i < len(c.Points); i++ {
		side = math.Min(side, 0.7*(d.x(c.Points[i].X)-d.x(c.Points[i-1].X)))
	}
	return math.Max(side, 2)
}

// levels draws the levels of a curve and names them, from the top down, none on another, and none
// so low that it stands on the names of the axis.
func (d Drawing) levels(c Curve, top float64, y func(float64) float64) (out []shape) {
	const line = fontSize + 2
	left, low := d.gutter(), top+curveHeight-2
	all := slices.SortedStableFunc(slices.Values(c.Levels), func(a, b Level) int { return cmp.Compare(b.At, a.At) })
	for _, v := range all {
		out = append(out, shape{Kind: "level", X: left, Y: y(v.At), W: d.width() - left - d.rim()})
	}
	all = slices.DeleteFunc(all, func(v Level) bool { return v.Text == "" })
	free := top + fontSize
	for i, v := range all {
		at := math.Min(math.Max(y(v.At)+fontSize/3, free), low-line*float64(len(all)-1-i))
		out = append(out, shape{Kind: "label", X: d.width() - d.rim() + 8, Y: at, Text: v.Text, Anchor: "start"})
		free = at + line
	}
	return out
}

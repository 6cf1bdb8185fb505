package review

import (
	"math"
	"strings"

	"coxswain/timeline"
)

// Strip is what part of a record to draw, and how wide.
type Strip struct {
	From, To timeline.Time // of the session
	Width    float64       // in units of the SVG
	Peaks    []byte        // loudness of room and coxswain, two bytes for each 100 ms; nil: not drawn
}

// Colours of the course. Words on bands are dark, so bands are light: 7:1 and more.
const (
	colourOn     = "#a3cbb0"
	colourOff    = "#e9a95f"
	colourRhythm = "#c9d6e2"
	colourPulse  = "#b8d8b8"
	colourCycle  = "#f1eee6"
	colourRoom   = "#39546b"
	colourSaid   = "#8a5a86"
)

// lanes are the rows of callouts, in order: lanes of the table of kinds.
var lanes = []string{"shock", "drug", "airway, access", "other"}

// DrawCourse draws a part of a record as SVG: the rhythms, when hands were on
// and off with the seconds of each pause worth telling, every callout in its
// lane, questions, what coxswain said, and how loud both were.
func DrawCourse(r *Record, s Strip) (string, error) {
	sec := func(t timeline.Time) float64 { return t.Seconds() }
	d := Drawing{
		Title:   "course of the code",
		Axis:    r.clock(),
		UnderAx: "clock",
		From:    sec(s.From),
		To:      sec(s.To),
		Width:   s.Width,
	}
	d.Ticks, d.Under = r.axis(d.From, d.To, d.width())
	for i, c := range r.Cycles {
		if i%2 == 0 {
			d.Behind = append(d.Behind, Band{From: sec(c.From), To: sec(c.To), Colour: colourCycle})
		}
	}
	d.Lanes = append(r.bands(), r.callouts(s)...)
	if len(s.Peaks) > 0 {
		for i, l := range []Lane{{Name: "room", Colour: colourRoom}, {Name: "coxswain", Colour: colourSaid}} {
			l.Wave = loudness(s.Peaks, i, d.From, d.To, int(d.width()))
			d.Lanes = append(d.Lanes, l)
		}
	}
	return d.SVG()
}

// clock is what its times count from: the code or, where none was called, the record.
func (r *Record) clock() string {
	if r.Started == timeline.Never {
		return "record"
	}
	return "code"
}

// Chart draws the whole course of the code for paper, with what was called before it began; so wide,
// or as a drawing is where width is 0.
func Chart(r *Record, width float64) (string, error) {
	from := max(0, r.Started)
	for _, x := range r.Rows {
		if (x.Group == "called" || x.Group == "amended") && !x.Gone {
			from = min(from, x.At)
		}
	}
	return DrawCourse(r, Strip{From: from, To: max(r.End, from+timeline.Seconds(1)), Width: width})
}

// bands are the lanes of what lasts: rhythm and pulse, hands on and off.
func (r *Record) bands() []Lane {
	rhythm, hands := Lane{Name: "rhythm"}, Lane{Name: "hands"}
	for _, b := range r.Seen {
		colour := colourRhythm
		if b.Pulse {
			colour = colourPulse
		}
		one := Band{From: b.From.Seconds(), To: b.To.Seconds(), Colour: colour, Text: b.What}
		if b.Pulse {
			one.Short = "pulse"
		}
		rhythm.Bands = append(rhythm.Bands, one)
	}
	for _, s := range r.Stretches {
		b := Band{From: s.From.Seconds(), To: s.To.Seconds(), Colour: colourOn, Text: "on"}
		if s.What != "compressing" {
			b.Colour, b.Hollow, b.Text = colourOff, true, length(s.To-s.From)
			if b.Short = strings.TrimSuffix(b.Text, " s"); s.Seconds() < tellPause {
				b.Text, b.Short = "", ""
			}
		}
		hands.Bands = append(hands.Bands, b)
	}
	return []Lane{rhythm, hands}
}

// tellPause is from how many seconds on a pause is written in its band: common
// practice, no source.
const tellPause = 5

// callouts are the lanes of what was called, asked and said in the strip.
func (r *Record) callouts(s Strip) []Lane {
	var out []Lane
	inside := func(x Row) bool { return x.At >= s.From && x.At <= s.To }
	for _, name := range lanes {
		l := Lane{Name: name, Rows: 6}
		for _, x := range r.Rows {
			if !x.Gone && !x.Twice && inside(x) && (x.Group == "called" || x.Group == "amended") && laneOf(x.Kind) == name {
				l.Marks = append(l.Marks, Tick{x.At.Seconds(), markText(name, x.Text)})
			}
		}
		out = append(out, l)
	}
	asked := Lane{Name: "asked", Rows: 2}
	for _, x := range r.Rows {
		if x.Kind == timeline.Question && inside(x) {
			asked.Marks = append(asked.Marks, Tick{x.At.Seconds(), ""})
		}
	}
	if len(asked.Marks) > 0 {
		out = append(out, asked)
	}
	return append(out, r.said(s))
}

// said is the lane of what coxswain said.
func (r *Record) said(s Strip) Lane {
	said := Lane{Name: "said"}
	for _, x := range r.Rows {
		if x.Group == "said" && x.Until >= s.From && x.At <= s.To {
			b := Band{From: x.At.Seconds(), To: math.Max(x.At.Seconds()+0.5, x.Until.Seconds()), Colour: colourSaid}
			said.Bands = append(said.Bands, b)
		}
	}
	return said
}

// laneOf is the lane of a callout; airway and access have one of their own.
func laneOf(k timeline.Kind) string {
	switch k {
	case timeline.AirwaySecured, timeline.AccessIV, timeline.AccessIO, timeline.AirwayLost, timeline.AccessLost:
		return "airway, access"
	}
	return k.Row().Lane
}

// axis places the clock of the code and, under it, the wall clock.
func (r *Record) axis(from, to, width float64) (code, wall []Tick) {
	start := math.Max(0, r.Started.Seconds())
	step := clockStep((to - from) / math.Max(1, width/90))
	for t := start + math.Ceil((from-start)/step)*step; t <= to; t += step {
		code = append(code, Tick{t, timeline.Seconds(t - start).Clock()})
		wall = append(wall, Tick{t, r.Clock(timeline.Seconds(t)).Format("15:04:05")})
	}
	return code, wall
}

// clockStep is the shortest step of a clock's axis that is at least s seconds.
func clockStep(s float64) float64 {
	for _, step := range []float64{1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800} {
		if step >= s {
			return step
		}
	}
	return 3600 * math.Ceil(s/3600)
}

// loudness is the loudest of a channel in each of n parts of from to to, drawn
// as the root of its size, so that speech shows beside a shout. NaN where nothing was
// recorded: before the record, and behind its end.
func loudness(peaks []byte, channel int, from, to float64, n int) []float64 {
	out := make([]float64, max(1, n/2))
	for i := range out {
		part := (to - from) / float64(len(out))
		a := max(0, int((from+float64(i)*part)*10))
		b := max(a+1, int((from+float64(i+1)*part)*10))
		if from+float64(i+1)*part <= 0 || 2*a+channel >= len(peaks) {
			out[i] = math.NaN()
		}
		for k := a; k < b && 2*k+channel < len(peaks); k++ {
			out[i] = math.Max(out[i], math.Sqrt(float64(peaks[2*k+channel])/127))
		}
	}
	return out
}

// Seen is a stretch of a case in which one rhythm was the last one called,
// with a pulse or without.
type Seen struct {
	From, To timeline.Time
	What     string // "VF", "VT, pulse"
	Pulse    bool
	Unstable bool // called so at some time of it
}

// seen lays out the rhythms of a case, from the first that was called to its end.
func seen(events []timeline.Event, end timeline.Time) (out []Seen) {
	for s, e := range timeline.Replay(events, end) {
		until := e.At
		if s.Ended != timeline.Never || until <= s.At {
			continue
		}
		what := string(s.Rhythm)
		if s.PulsePresent {
			what = "pulse"
			if s.Rhythm != timeline.Unknown {
				what = string(s.Rhythm) + ", pulse"
			}
		}
		if n := len(out); n > 0 && out[n-1].What == what && out[n-1].To == s.At {
			out[n-1].To, out[n-1].Unstable = until, out[n-1].Unstable || s.Unstable
		} else if what != "" {
			out = append(out, Seen{s.At, until, what, s.PulsePresent, s.Unstable})
		}
	}
	return out
}

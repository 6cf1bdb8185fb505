package timeline

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"sort"

	"go.yaml.in/yaml/v3"
)

//go:embed figures.yaml
var figuresFile []byte

// Definition says what a figure is and what it is held against.
type Definition struct {
	ID         string     `yaml:"-" json:"id"`
	Name       string     `yaml:"name" json:"name"`
	Unit       string     `yaml:"unit" json:"unit"` // UCUM: s, 1, /min, mm
	Definition string     `yaml:"definition" json:"definition"`
	Formula    string     `yaml:"formula" json:"formula"`
	Source     string     `yaml:"source" json:"source"`
	Benchmark  *Benchmark `yaml:"benchmark" json:"benchmark,omitempty"`
}

// Benchmark is a published limit for a figure.
type Benchmark struct {
	Min    *float64 `yaml:"min" json:"min,omitempty"`
	Max    *float64 `yaml:"max" json:"max,omitempty"`
	Text   string   `yaml:"text" json:"text"`
	Source string   `yaml:"source" json:"source"`
	Status string   `yaml:"status" json:"status"`
	Only   string   `yaml:"only" json:"only,omitempty"` // nonshockable: holds for such first rhythms only
}

// Figure is a number about a code. Low and High are what it would be if one
// uncertain event were otherwise. An unknown figure has Known false: it is not
// guessed.
type Figure struct {
	Definition
	Known bool    `json:"known"`
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	Met   string  `json:"met,omitempty"` // "yes" or "no" against the benchmark
}

// Definitions returns what the figures are, in order, with a site's overlays.
func Definitions(overlays ...Source) ([]Definition, error) {
	all := map[string]Definition{}
	var order []string
	for i, src := range append([]Source{{Name: "figures.yaml", Text: figuresFile}}, overlays...) {
		var doc struct {
			Figures yaml.Node `yaml:"figures"`
		}
		if err := yaml.Unmarshal(src.Text, &doc); err != nil {
			return nil, fmt.Errorf("%s: %w", src.Name, err)
		}
		for k := 0; k+1 < len(doc.Figures.Content); k += 2 {
			key, value := doc.Figures.Content[k], doc.Figures.Content[k+1]
			d, known := all[key.Value]
			if !known && i > 0 {
				return nil, fmt.Errorf("%s:%d: unknown figure %q", src.Name, key.Line, key.Value)
			}
			if err := value.Decode(&d); err != nil {
				return nil, fmt.Errorf("%s:%d: figure %s: %w", src.Name, key.Line, key.Value, err)
			}
			if b := d.Benchmark; d.Source == "" || b != nil && b.Source == "" {
				return nil, fmt.Errorf("%s:%d: figure %s: a source is missing", src.Name, key.Line, key.Value)
			}
			if d.ID = key.Value; !known {
				order = append(order, d.ID)
			}
			all[d.ID] = d
		}
	}
	out := make([]Definition, len(order))
	for i, id := range order {
		out[i] = all[id]
	}
	return out, nil
}

// unsureBelow is the confidence under which an event counts as uncertain.
const unsureBelow = 0.75

// Figures computes every defined figure of a record that ends at end.
func Figures(events []Event, defs []Definition, end Time) []Figure {
	base := Measure(events, end)
	out := make([]Figure, len(defs))
	for i, d := range defs {
		v, known := base[d.ID]
		out[i] = Figure{Definition: d, Known: known, Value: v, Low: v, High: v}
		if known {
			out[i].Met = d.met(v, events)
		}
	}
	for _, other := range otherwise(events) {
		m := Measure(other, end)
		for i := range out {
			if v, ok := m[out[i].ID]; ok && out[i].Known {
				out[i].Low, out[i].High = math.Min(out[i].Low, v), math.Max(out[i].High, v)
			}
		}
	}
	return out
}

func (d Definition) met(v float64, events []Event) string {
	b := d.Benchmark
	if b == nil || b.Only == "nonshockable" && rhythmOf[firstRhythm(events)].Shockable() {
		return ""
	}
	if b.Min != nil && v < *b.Min || b.Max != nil && v > *b.Max {
		return "no"
	}
	return "yes"
}

// otherwise returns the events as they would be if one uncertain event were
// different: an unsure one not there, a back-dated one where it was heard, one
// that was taken back still there.
func otherwise(events []Event) [][]Event {
	var out [][]Event
	gone := Retracted(events)
	without := func(drop func(Event) bool) {
		var v []Event
		for _, e := range events {
			if !drop(e) {
				v = append(v, e)
			}
		}
		out = append(out, v)
	}
	for _, e := range events {
		switch {
		case e.Heard != nil && e.Heard.Confidence < unsureBelow && !gone[e.Seq]:
			without(func(x Event) bool { return x.Seq == e.Seq })
		case e.Kind == Retraction && e.Amend == nil:
			without(func(x Event) bool { return x.Seq == e.Seq || x.Replaces == e.Retracts && e.Retracts != 0 })
		case e.Replaces != 0 && e.Heard != nil && e.Heard.End != e.At:
			v := append([]Event(nil), events...)
			for i := range v {
				if v[i].Seq == e.Seq {
					v[i].At = e.Heard.End
				}
			}
			out = append(out, v)
		}
	}
	return out
}

// span is a stretch of session time.
type span struct{ from, to Time }

func (s span) seconds() float64 { return (s.to - s.from).Seconds() }

// course is a code laid out in stretches.
type course struct {
	state              State
	arrest, hands, off []span // without a pulse; compressing; not compressing after the first compression
	cycles             []float64
}

// lay replays the events and keeps the stretches, up to end.
func lay(events []Event, end Time) course {
	c := course{state: newState()}
	s := &c.state
	at := Never
	for _, e := range standing(events) {
		if e.At > end {
			continue
		}
		c.stretch(at, e.At)
		c.cycle(e)
		s.apply(e)
		at = e.At
	}
	c.stretch(at, end)
	return c
}

// stretch adds the time from a to b in the present state.
func (c *course) stretch(a, b Time) {
	s := c.state
	if a == Never || b <= a || !s.InArrest() {
		return
	}
	grow(&c.arrest, a, b)
	switch {
	case s.Compressing:
		grow(&c.hands, a, b)
	case s.FirstCompression != Never:
		grow(&c.off, a, b)
	}
}

func grow(list *[]span, a, b Time) {
	if n := len(*list); n > 0 && (*list)[n-1].to == a {
		(*list)[n-1].to = b
		return
	}
	*list = append(*list, span{a, b})
}

// cycle notes how long a cycle lasted when e ends it.
func (c *course) cycle(e Event) {
	s := c.state
	switch e.Kind {
	case RhythmCheck, ShockGiven, CompressorChange:
		if s.CycleFrom != Never && s.InArrest() && s.Compressing {
			c.cycles = append(c.cycles, (e.At - s.CycleFrom).Seconds())
		}
	}
}

func total(list []span) float64 {
	sum := 0.0
	for _, s := range list {
		sum += s.seconds()
	}
	return sum
}

// Measure computes the figures that are known, by id. See figures.yaml for
// definitions and sources.
func Measure(events []Event, end Time) map[string]float64 {
	c := lay(events, end)
	s := c.state
	m := map[string]float64{}
	if s.Started == Never {
		return m
	}
	if arrest := total(c.arrest); arrest > 0 && s.FirstCompression != Never {
		m["compression_fraction"] = total(c.hands) / arrest
		m["pauses"] = float64(len(c.off))
	}
	if n := len(c.off); n > 0 {
		long := 0
		for _, p := range c.off {
			m["longest_pause"] = math.Max(m["longest_pause"], p.seconds())
			if p.seconds() > 10 {
				long++
			}
		}
		m["pauses_over_10s"] = float64(long) / float64(n)
	}
	c.shockPauses(m)
	since := func(id string, t Time) {
		if t != Never && t >= s.Started {
			m[id] = (t - s.Started).Seconds()
		}
	}
	since("first_compression", s.FirstCompression)
	since("return_of_circulation", s.FirstROSC)
	shocks := inCode(s.Shocks, func(x Shock) bool { return x.At >= s.Started })
	if len(shocks) > 0 && rhythmOf[firstRhythm(events)].Shockable() {
		since("first_shock", shocks[0].At)
	}
	if given := inCode(s.Given["epinephrine"], func(d Dose) bool { return d.At >= s.Started }); len(given) > 0 {
		since("first_epinephrine", given[0].At)
		var gaps []float64
		for i := 1; i < len(given); i++ {
			gaps = append(gaps, (given[i].At - given[i-1].At).Seconds())
		}
		if len(gaps) > 0 {
			m["epinephrine_interval"] = Median(gaps)
		}
	}
	m["shocks"] = float64(len(s.Shocks))
	if n := len(c.cycles); n > 0 {
		good := 0
		for _, x := range c.cycles {
			if x >= 105 && x <= 135 {
				good++
			}
		}
		m["cycle_adherence"] = float64(good) / float64(n)
	}
	if v, known := sustained(events, end); known {
		m["sustained"] = v
	}
	return m
}

// shockPauses finds the pause around every shock for which compressions were
// called before and after.
func (c course) shockPauses(m map[string]float64) {
	var pre, post, peri []float64
	for _, shock := range c.state.Shocks {
		for _, p := range c.off {
			if shock.At < p.from || shock.At > p.to {
				continue
			}
			a := (shock.At - p.from).Seconds()
			pre = append(pre, a)
			resumed := false
			for _, h := range c.hands {
				resumed = resumed || h.from == p.to
			}
			if resumed {
				b := (p.to - shock.At).Seconds()
				post, peri = append(post, b), append(peri, a+b)
			}
			break
		}
	}
	for id, list := range map[string][]float64{"pre_shock_pause": pre, "post_shock_pause": post, "peri_shock_pause": peri} {
		if len(list) > 0 {
			m[id] = Median(list)
		}
	}
}

// sustained reports whether a pulse held for 20 min (Utstein): 1, or 0 if every
// return was lost sooner or there was none; unknown if the record ends too soon.
func sustained(events []Event, end Time) (float64, bool) {
	const hold = 20 * 60 * Rate
	s, since := newState(), Never
	for _, e := range standing(events) {
		if s.PulsePresent && since != Never && e.At-since >= hold {
			return 1, true
		}
		if s.apply(e); !s.PulsePresent || s.Started == Never {
			since = Never
		} else if since == Never {
			since = e.At
		}
	}
	if since != Never && end-since >= hold {
		return 1, true
	}
	return 0, since == Never
}

// inCode leaves out what came before the code began.
func inCode[T any](list []T, keep func(T) bool) []T {
	return slices.DeleteFunc(slices.Clone(list), func(x T) bool { return !keep(x) })
}

// Median is the middle of x, or the mean of the two in the middle.
func Median(x []float64) float64 {
	y := append([]float64(nil), x...)
	sort.Float64s(y)
	if n := len(y); n%2 == 0 {
		return (y[n/2-1] + y[n/2]) / 2
	}
	return y[len(y)/2]
}

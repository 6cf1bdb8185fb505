package figures

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"sort"

	"go.yaml.in/yaml/v3"

	"coxswain/timeline"
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
	Counts     *Lengths   `yaml:"counts" json:"counts,omitempty"`
	Breaths    *Breaths   `yaml:"breaths" json:"breaths,omitempty"`
	Benchmark  *Benchmark `yaml:"benchmark" json:"benchmark,omitempty"`
}

// Lengths are the lengths of time, in seconds, that a figure counts; a bound
// that is absent does not bind.
type Lengths struct {
	Above float64 `yaml:"above" json:"above,omitempty"`
	Min   float64 `yaml:"min" json:"min,omitempty"`
	Max   float64 `yaml:"max" json:"max,omitempty"`
}

// Breaths say how compressions in a ratio with breaths are taken apart, where
// nobody measured them.
type Breaths struct {
	PerMinute float64 `yaml:"per_minute" json:"per_minute"` // rate of the compressions in between
	Adult     float64 `yaml:"adult" json:"adult"`           // compressions between breaths
	Child     float64 `yaml:"child" json:"child"`
	Pause     float64 `yaml:"pause_s" json:"pause_s"`     // for the breaths
	Longest   float64 `yaml:"longest_s" json:"longest_s"` // the longest it may well have taken
}

// lost is how much of the time in ratio went to breaths of pause seconds.
func (b *Breaths) lost(ratio map[bool]timeline.Time, pause float64) float64 {
	sum := 0.0
	for child, t := range ratio {
		n := b.Adult
		if child {
			n = b.Child
		}
		sum += t.Seconds() * pause / (pause + 60*n/b.PerMinute)
	}
	return sum
}

// fraction is the compression fraction and its range: an estimate where breaths had to be
// taken apart.
func (c Course) fraction(b *Breaths) (value, low, high float64) {
	arrest, hands := total(c.Arrest), total(c.Hands)
	value, low, high = hands/arrest, hands/arrest, hands/arrest
	if b != nil && len(c.Ratio) > 0 {
		value, low = (hands-b.lost(c.Ratio, b.Pause))/arrest, (hands-b.lost(c.Ratio, b.Longest))/arrest
	}
	return value, low, high
}

// hold reports whether a length counts.
func (l *Lengths) hold(seconds float64) bool {
	return l != nil && seconds > l.Above && seconds >= l.Min && (l.Max == 0 || seconds <= l.Max)
}

// Benchmark is a published limit for a figure.
type Benchmark struct {
	Min    *float64 `yaml:"min" json:"min,omitempty"`
	Max    *float64 `yaml:"max" json:"max,omitempty"`
	Text   string   `yaml:"text" json:"text"`
	Source string   `yaml:"source" json:"source"`
	Status string   `yaml:"status" json:"status"`
	Only   string   `yaml:"only" json:"only,omitempty"` // nonshockable: holds for such first rhythms only
	// Child is what holds instead for a child or an infant; nil: the same.
	Child *Benchmark `yaml:"child" json:"-"`
}

// of is the definition as it holds for whoever lay there. Nothing is held against what was published
// for others where a newborn did.
func (d Definition) of(s timeline.State) Definition {
	if s.OfNewborn() {
		d.Benchmark = nil
	} else if d.Benchmark != nil && d.Benchmark.Child != nil && s.OfChild() {
		d.Benchmark = d.Benchmark.Child
	}
	return d
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
	Why   string  `json:"why,omitempty"` // an unknown one: why, if callouts tell
	// Verdict is what a reader is told of a known figure that has a benchmark: "met", "outside",
	// "not certain", or "does not apply" to such a record.
	Verdict string `json:"verdict,omitempty"`
}

// IsShare reports whether the figure is a part of a whole, 0 to 1, and no count
// and no yes or no (all have UCUM's unit 1).
func (d Definition) IsShare() bool {
	return d.Unit == "1" && d.ID != "pauses" && d.ID != "shocks" && d.ID != "sustained"
}

// Definitions returns what the figures are, in order, with a site's overlays.
// Errors name file and line.
func Definitions(overlays ...timeline.Source) ([]Definition, error) {
	all := map[string]Definition{}
	var order []string
	for i, src := range append([]timeline.Source{{Name: "figures.yaml", Text: figuresFile}}, overlays...) {
		keys, values, err := fields(src)
		if err != nil {
			return nil, err
		}
		for k, key := range keys {
			d, known := all[key.Value]
			if !known && i > 0 {
				return nil, fmt.Errorf("%s:%d: unknown figure %q", src.Name, key.Line, key.Value)
			}
			if err := values[k].Decode(&d); err != nil {
				return nil, fmt.Errorf("%s:%d: figure %s: %w", src.Name, key.Line, key.Value, err)
			}
			if b := d.Benchmark; d.Source == "" || b != nil && (b.Source == "" || b.Child != nil && b.Child.Source == "") {
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

// fields reads a file of definitions: the ids of its figures and what it says
// of each, in the file's order. A key that no definition has is refused.
func fields(src timeline.Source) (keys, values []*yaml.Node, err error) {
	var known struct {
		Figures map[string]Definition `yaml:"figures"`
	}
	if err := timeline.DecodeStrict(src.Name, src.Text, &known); err != nil {
		return nil, nil, err
	}
	var doc struct {
		Figures yaml.Node `yaml:"figures"`
	}
	if err := yaml.Unmarshal(src.Text, &doc); err != nil {
		return nil, nil, fmt.Errorf("%s: %w", src.Name, err)
	}
	for k := 0; k+1 < len(doc.Figures.Content); k += 2 {
		keys, values = append(keys, doc.Figures.Content[k]), append(values, doc.Figures.Content[k+1])
	}
	return keys, values, nil
}

// Compute returns every defined figure of a record that ends at end.
func Compute(events []timeline.Event, defs []Definition, end timeline.Time) []Figure {
	c := Lay(events, end)
	base := c.Measure(defs)
	out := make([]Figure, len(defs))
	for i, d := range defs {
		d = d.of(c.State)
		v, known := base[d.ID]
		out[i] = Figure{Definition: d, Known: known, Value: v, Low: v, High: v}
		out[i].Why = c.why(d.ID, known)
		if known && d.Breaths != nil {
			_, out[i].Low, out[i].High = c.fraction(d.Breaths)
		}
		// An estimate is judged if all that it can be is on one side.
		met := d.met(v, c.State)
		switch {
		case !known, d.met(out[i].Low, c.State) != met, d.met(out[i].High, c.State) != met:
		case d.ID == "longest_pause" && met == "yes" && c.Unseen() > 0: // one that was not called may have been longer
		default:
			out[i].Met = met
		}
		out[i].Verdict = out[i].verdict(c.State)
	}
	for other := range otherwise(events) {
		m := Lay(other, end).Measure(defs)
		for i := range out {
			if v, ok := m[out[i].ID]; ok && out[i].Known {
				out[i].Low, out[i].High = math.Min(out[i].Low, v), math.Max(out[i].High, v)
			}
		}
	}
	return out
}

// Measure computes the figures that are known, by id. See figures.yaml for
// definitions and sources.
func (c Course) Measure(defs []Definition) map[string]float64 {
	s := c.State
	m := map[string]float64{}
	counts := map[string]*Lengths{}
	var breaths *Breaths
	for _, d := range defs {
		counts[d.ID] = d.Counts
		if d.Breaths != nil {
			breaths = d.Breaths
		}
	}
	if s.ArrestAt == timeline.Never { // no arrest: none of its figures
		return m
	}
	c.pauses(m, counts["pauses_over_10s"], breaths)
	c.shockPauses(m)
	since := func(id string, t timeline.Time) {
		if t != timeline.Never && t >= s.ArrestAt && !s.TreatedBefore() {
			m[id] = (t - s.ArrestAt).Seconds()
		}
	}
	since("first_compression", s.FirstCompression)
	since("return_of_circulation", s.FirstROSC)
	shocks := s.Defibrillations()
	if len(shocks) > 0 && s.FirstRhythm.Shockable() {
		since("first_shock", shocks[0].At)
	}
	if given := s.Doses("epinephrine"); len(given) > 0 {
		since("first_epinephrine", given[0].At)
		var gaps []float64
		for i := 1; i < len(given); i++ {
			if given[i-1].Untimed { // nobody knows when that was
				continue
			}
			gaps = append(gaps, (given[i].At - given[i-1].At).Seconds())
		}
		if len(gaps) > 0 {
			m["epinephrine_interval"] = Median(gaps)
		}
	}
	m["shocks"] = float64(len(shocks))
	if long := counts["cycle_adherence"]; len(c.Checked)+len(c.overrun(long)) > 0 {
		m["cycle_adherence"] = share(slices.Concat(c.Checked, c.overrun(long)), long)
	}
	c.sustained(m, counts["sustained"])
	c.withoutNewborns(m)
	return m
}

// sustained tells whether a return held. A record that stops too soon, or within
// the arrest before any return, does not tell.
func (c Course) sustained(m map[string]float64, long *Lengths) {
	s := c.State
	if long.hold(c.Held.Seconds()) {
		m["sustained"] = 1
	} else if !c.Holds && (s.Ended != timeline.Never || s.FirstROSC != timeline.Never) {
		m["sustained"] = 0
	}
}

// pauses measures compressions and what interrupted them.
func (c Course) pauses(m map[string]float64, long *Lengths, breaths *Breaths) {
	if arrest := total(c.Arrest); arrest > 0 && c.State.FirstCompression != timeline.Never {
		m["compression_fraction"], _, _ = c.fraction(breaths)
		m["pauses"] = float64(len(c.Pauses))
	}
	if len(c.Pauses) == 0 {
		return
	}
	for _, p := range c.Pauses {
		m["longest_pause"] = math.Max(m["longest_pause"], p.Seconds())
	}
	m["pauses_over_10s"] = share(c.Pauses, long)
}

func total(list []Stretch) float64 {
	sum := 0.0
	for _, s := range list {
		sum += s.Seconds()
	}
	return sum
}

// share is how many of the stretches are of a length that counts, over all.
func share(list []Stretch, counts *Lengths) float64 {
	n := 0
	for _, s := range list {
		if counts.hold(s.Seconds()) {
			n++
		}
	}
	return float64(n) / float64(len(list))
}

// shockPauses finds the pause around every shock for which compressions were
// called before and after.
func (c Course) shockPauses(m map[string]float64) {
	resumed := map[timeline.Time]bool{}
	for _, h := range c.Hands {
		resumed[h.From] = true
	}
	var pre, post, peri []float64
	for _, shock := range c.State.Shocks {
		i := sort.Search(len(c.Pauses), func(i int) bool { return c.Pauses[i].To >= shock.At })
		if i == len(c.Pauses) || shock.At < c.Pauses[i].From {
			continue
		}
		p := c.Pauses[i]
		a, b := (shock.At - p.From).Seconds(), (p.To - shock.At).Seconds()
		known := a > 0 // hands come off before a shock: if nobody called that, nobody knows when
		if known {
			pre = append(pre, a)
		}
		if resumed[p.To] {
			post = append(post, b)
		}
		if known && resumed[p.To] {
			peri = append(peri, a+b)
		}
	}
	medians := map[string][]float64{"pre_shock_pause": pre, "post_shock_pause": post, "peri_shock_pause": peri}
	for id, list := range medians {
		if len(list) > 0 {
			m[id] = Median(list)
		}
	}
}

// unbroken is how long compressions go on at most without a look at the rhythm: two cycles
// of two minutes (AHA 2020 and 2025, ERC 2021 and 2025: a look every 2 min).
const unbroken = 240 * timeline.Rate

// Unseen counts the pauses that there must have been and that nobody called: a shock, or a
// look at the rhythm that ended a cycle, while somebody compressed by what was called, and
// a stretch of compressions longer than two cycles without either.
func (c Course) Unseen() int {
	n, shocks := 0, c.State.Defibrillations()
	for _, h := range c.Hands {
		within := 0
		for _, x := range shocks {
			if h.From < x.At && x.At <= h.To {
				within++
			}
		}
		for i, k := range c.Cycles[:max(0, len(c.Cycles)-1)] { // the next follows without a break
			if h.From < k.To && k.To < h.To && c.Cycles[i+1].From == k.To {
				within++
			}
		}
		if within == 0 && h.To-h.From > unbroken {
			within = 1
		}
		n += within
	}
	return n
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

package review

import (
	"encoding/xml"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"coxswain/timeline/figures"
)

// box is where a text of a drawing stands.
type box struct {
	text           string
	x0, x1, y0, y1 float64
}

// boxes reads the texts of an SVG and where they are.
func boxes(t *testing.T, svg string) (out []box, width, height float64) {
	t.Helper()
	var doc struct {
		ViewBox string `xml:"viewBox,attr"`
		Texts   []struct {
			Attrs []xml.Attr `xml:",any,attr"`
			Text  string     `xml:",chardata"`
		} `xml:"text"`
	}
	if err := xml.Unmarshal([]byte(svg), &doc); err != nil {
		t.Fatalf("%v: %s", err, svg)
	}
	fmt.Sscanf(doc.ViewBox, "0 0 %f %f", &width, &height)
	for _, e := range doc.Texts {
		v, anchor := map[string]float64{}, ""
		for _, a := range e.Attrs {
			v[a.Name.Local], _ = strconv.ParseFloat(a.Value, 64)
			if a.Name.Local == "text-anchor" {
				anchor = a.Value
			}
		}
		w := textWidth(e.Text)
		x := v["x"] + v["dx"] - map[string]float64{"start": 0, "middle": w / 2, "end": w}[anchor]
		y := v["y"] + v["dy"]
		out = append(out, box{e.Text, x, x + w, y - 0.76*fontSize, y + 0.24*fontSize})
	}
	return out, width, height
}

// textsApart holds every text of a drawing within it and away from the others.
func textsApart(t *testing.T, svg string) {
	t.Helper()
	all, width, height := boxes(t, svg)
	for i, a := range all {
		if a.x0 < 0 || a.y0 < 0 || a.x1 > width || a.y1 > height {
			t.Errorf("%q lies outside the drawing: %+v of %v by %v", a.text, a, width, height)
		}
		for _, b := range all[:i] {
			if a.x0 < b.x1 && b.x0 < a.x1 && a.y0 < b.y1 && b.y0 < a.y1 {
				t.Errorf("%q and %q overlap: %+v %+v", a.text, b.text, a, b)
			}
		}
	}
}

// Whatever is called, and however close together, every name is there and
// readable.
func TestMarksNeverCollide(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 9))
	names := strings.Split("VF|PEA|asystole|epinephrine, 1 mg|amiodarone, 300 mg|<b>&|compressor change|WWWWWWWWW", "|")
	for k := range 200 {
		d := Drawing{Axis: "minutes", To: 1 + 90*r.Float64()}
		for m, step := 0.0, niceStep(d.To, 12); m <= d.To; m += step {
			d.Ticks = append(d.Ticks, Tick{m, fmt.Sprintf("%.4g", m)})
		}
		marks := 0
		for lane := range 4 {
			l := Lane{Name: names[lane]}
			for range r.IntN(30) {
				l.Marks = append(l.Marks, Tick{r.Float64() * d.To * 1.1, names[r.IntN(len(names))]}) // also in no order, and beyond the axis
				marks++
			}
			d.Lanes = append(d.Lanes, l)
		}
		if k%2 == 0 {
			d.UnderAx, d.Under = "clock", d.Ticks
		}
		svg, err := d.SVG()
		if err != nil {
			t.Fatal(err)
		}
		if textsApart(t, svg); strings.Count(svg, "l3 6h-6z") != marks {
			t.Errorf("%d marks of %d are drawn", strings.Count(svg, "l3 6h-6z"), marks)
		}
		if t.Failed() {
			t.Fatalf("round %d", k)
		}
	}
}

// The chart of a record names each callout that stands, in its lane, and
// draws hands on and off.
func TestChart(t *testing.T) {
	svg, err := Chart(sample(t), 0)
	if err != nil {
		t.Fatal(err)
	}
	textsApart(t, svg)
	for _, want := range []string{">hands<", ">10 s<", ">VF<", ">200 J<", ">epinephrine, 1 mg<", ">IO access<", ">code<",
		">clock<", ">14:00:10<", "#a3cbb0", "#e9a95f"} {
		if !strings.Contains(svg, want) {
			t.Errorf("the chart lacks %s", want)
		}
	}
	if strings.Contains(svg, "amiodarone") {
		t.Error("the chart shows a drug that was taken back")
	}
}

// A curve without a spread, without points, or with one: still a drawing.
func TestCurvesOfLittle(t *testing.T) {
	for _, c := range []RunChart{{}, {Months: []Month{{Month: "2026-01", Median: 0.8}}, Mean: 0.8},
		{Months: []Month{{Month: "2026-01"}, {Month: "2026-02"}}}} {
		svg, err := DrawRunChart(c, figures.Definition{Unit: "s"}, 0)
		if err != nil || strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") || strings.Count(svg, "<circle") != len(c.Months) {
			t.Errorf("%v: %s", err, svg)
		}
		textsApart(t, svg)
	}
}

// Where nothing was recorded nothing is drawn: before a record that is aligned with another,
// and behind the end of the shorter one. Silence that was recorded is a line.
func TestNoWaveWithoutSound(t *testing.T) {
	peaks := make([]byte, 2*100) // ten seconds of silence, each channel
	for _, c := range []struct{ from, to, begin, end float64 }{
		{-10, 30, 0, 10}, {0, 10, 0, 10}, {5, 25, 5, 10}, {20, 30, 30, 30}, {-20, -5, 30, 30},
	} {
		const n = 80
		for i, v := range loudness(peaks, 1, c.from, c.to, 2*n) {
			part := (c.to - c.from) / n
			a, b := c.from+float64(i)*part, c.from+float64(i+1)*part
			if want := b > c.begin+1e-9 && a < c.end-1e-9; want == math.IsNaN(v) {
				t.Errorf("%v to %v s: at %v to %v the wave is %v", c.from, c.to, a, b, v)
			}
		}
	}
	if got := (Drawing{}).wave([]float64{math.NaN(), 0, math.NaN()}, 0); strings.Count(got, "M") != 1 {
		t.Errorf("drawn %q, want one line", got)
	}
}

// The seconds of a short pause stand behind its band with their unit, on the one that follows or on the ground.
func TestShortPausesAreTold(t *testing.T) {
	d := Drawing{To: 480, Lanes: []Lane{{Name: "hands", Bands: []Band{{From: 0, To: 100, Text: "on"},
		{From: 100, To: 112, Text: "12 s", Short: "12", Hollow: true}, {From: 112, To: 200, Text: "on"},
		{From: 200, To: 206, Text: "6.5 s", Short: "6.5", Hollow: true}, {From: 206, To: 207, Text: "on"},
		{From: 207, To: 216, Text: "9.5 s", Short: "9.5", Hollow: true}}}}}
	svg, err := d.SVG()
	if err != nil {
		t.Fatal(err)
	}
	textsApart(t, svg)
	if strings.LastIndex(svg, "<rect") > strings.Index(svg, ">12 s<") {
		t.Errorf("a band lies over the text: %s", svg)
	}
	for text, want := range map[string]int{">12 s<": 1, ">6.5 s<": 0, ">6.5<": 0, ">9.5 s<": 1, ">on<": 2} { // 6.5 has no room
		if n := strings.Count(svg, text); n != want {
			t.Errorf("%s stands %d times, want %d: %s", text, n, want, svg)
		}
	}
}

// What the levels of a curve are stands beside it, apart from each other and from the names of the
// axis, also where all levels lie at the bottom; the two bounds of a benchmark are told apart.
func TestLevelsOfACurve(t *testing.T) {
	three, five := 180.0, 300.0
	c := RunChart{Mean: 300, Low: 300, High: 300, Limits: true}
	for k := range 26 {
		c.Months = append(c.Months, Month{Month: fmt.Sprintf("%d-%02d", 2024+k/12, 1+k%12), Median: 300, Records: 1})
	}
	for i, most := range []float64{five, 900, five, 900} {
		held := &figures.Benchmark{Min: &three, Max: &most, Text: "3 to 5 min"}
		svg, err := DrawRunChart(c, figures.Definition{Unit: "s", Benchmark: held}, []float64{0, 0, 320, 320}[i]) // and on a telephone
		if err != nil {
			t.Fatal(err)
		}
		textsApart(t, svg)
		for _, want := range []string{">3 min or more<", fmt.Sprintf(">%v min or less<", most/60)} {
			if !strings.Contains(svg, want) {
				t.Errorf("no %s: %s", want, svg)
			}
		}
	}
	c.Mean, c.Low, c.High = 7, 7, 7
	for k := range c.Months {
		c.Months[k].Median = 7
	}
	ten, all := 10.0, c.Months
	for n := 9; n <= len(all); n++ {
		c.Months = all[:n]
		svg, err := DrawRunChart(c, figures.Definition{Unit: "s", Benchmark: &figures.Benchmark{Max: &ten}}, 0)
		if err != nil {
			t.Fatal(err)
		}
		textsApart(t, svg)
	}
}

// What never changes has a scale that can be read: a count has whole numbers, nothing is below 0, and a
// share is never above 100 %.
func TestScaleOfWhatNeverChanges(t *testing.T) {
	for _, c := range []struct {
		id, unit string
		at       float64
		want     string
	}{
		{"shocks", "1", 6, "5 6 7"},
		{"shocks", "1", 0, "0 1"},
		{"longest_pause", "s", 0.5, "0 0.5 1 1.5"},
		{"cycle_adherence", "1", 1, "95 96 97 98 99 100"},
	} {
		x := RunChart{ID: c.id, Mean: c.at, Low: c.at, High: c.at}
		for k := range 3 {
			x.Months = append(x.Months, Month{Month: fmt.Sprintf("2024-%02d", k+1), Median: c.at, Records: 1})
		}
		svg, err := DrawRunChart(x, figures.Definition{ID: c.id, Unit: c.unit}, 0)
		if err != nil {
			t.Fatal(err)
		}
		var scale []string
		for _, m := range regexp.MustCompile(`text-anchor="end">([0-9.]+)<`).FindAllStringSubmatch(svg, -1) {
			scale = append(scale, m[1])
		}
		if got := strings.Join(scale, " "); got != c.want {
			t.Errorf("%s, always %v: the scale is %q, want %q", c.id, c.at, got, c.want)
		}
	}
}

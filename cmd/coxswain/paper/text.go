package paper

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"
	"time"
	"unicode/utf8"

	"coxswain/audio"
	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/review"
)

// TimePoints prints the Utstein time points by session time and wall clock.
func TimePoints(w io.Writer, events []timeline.Event, asJSON bool, caution string) error {
	wall := timeline.WallClock(events)
	clock := func(p figures.TimePoint) string {
		if p.At == timeline.Never {
			return ""
		}
		return wall.Add(audio.Duration(int64(p.At))).Format(time.RFC3339)
	}
	if asJSON {
		enc := json.NewEncoder(w)
		for _, p := range figures.Lay(events, timeline.End(events)).TimePoints() {
			if err := enc.Encode(map[string]any{"name": p.Name, "at": p.At, "wall": clock(p)}); err != nil {
				return err
			}
		}
		return nil
	}
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "time point (Utstein, Resuscitation 2019;144:166)\tsession\twall clock")
	for _, p := range figures.Lay(events, timeline.End(events)).TimePoints() {
		at := "not called"
		if p.At != timeline.Never {
			at = p.At.String()
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\n", p.Name, at, clock(p))
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintln(w, "\n"+caution)
	return err
}

// Columns is how wide a table is printed at most.
const Columns = 100

// Timeline prints events as a table at most Columns wide: session time, time since
// the code started, what happened in plain words, and how surely it was heard.
func Timeline(w io.Writer, events []timeline.Event, all bool, caution string) error {
	start := timeline.Fold(events).CodeAt()
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "#\tsession\tcode\tevent\theard as\tsure")
	for _, r := range review.Rows(events) {
		if prompt := r.Kind == timeline.CueSpoken || r.Kind == timeline.CueDropped; prompt && !all {
			continue
		}
		code, sure := "", ""
		if start != timeline.Never && r.At >= start {
			code = (r.At - start).String()
		}
		if r.Heard != "" {
			sure = fmt.Sprintf("%.0f %%", 100*r.Sure)
		}
		whats, texts := wrap(told(r), Columns*2/5), wrap(r.Heard, Columns*5/20)
		fmt.Fprintf(tw, "%d\t%s\t%s\t%s\t%s\t%s\n", r.Seq, r.At, code, whats[0], texts[0], sure)
		for i := 1; i < max(len(whats), len(texts)); i++ {
			fmt.Fprintf(tw, "\t\t\t%s\t%s\t\n", at(whats, i), at(texts, i))
		}
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n"+strings.Join(wrap(caution, Columns), "\n"))
	return nil
}

// told is a row in words, with what became of it.
func told(r review.Row) string {
	what := r.Text
	if r.Kind == timeline.CueSpoken {
		what = strings.TrimSpace("says “" + r.Sentence + "” " + r.Cut)
	}
	if r.Gone {
		what += " (taken back)"
	}
	if r.Note != "" {
		what += " (amended by " + r.Note + ")"
	}
	return what
}

// at is a line of several; empty behind the last.
func at(lines []string, i int) string {
	if i < len(lines) {
		return lines[i]
	}
	return ""
}

// wrap breaks a text between words into lines of at most so many characters, a
// longer word within; it has at least one. Width 0 does not bind.
func wrap(text string, width int) []string {
	if width == 0 || utf8.RuneCountInString(text) <= width {
		return []string{text}
	}
	lines := []string{""}
	for _, w := range strings.Fields(text) {
		for {
			last := &lines[len(lines)-1]
			room := width - utf8.RuneCountInString(*last)
			switch n := utf8.RuneCountInString(w); {
			case *last == "" && n <= width:
				*last = w
			case *last != "" && n < room:
				*last += " " + w
			case *last == "": // longer than a line
				r := []rune(w)
				*last, w = string(r[:width]), string(r[width:])
				lines = append(lines, "")
				continue
			default:
				lines = append(lines, "")
				continue
			}
			break
		}
	}
	return lines
}

// Records prints a line for each record.
func Records(w io.Writer, list []review.Summary, caution string) error {
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "record\tlength\tfirst rhythm\tshocks\thands on\tlongest pause\toutcome\tunsure\tfaults")
	for _, s := range list {
		cell := func(id string, f func(float64) string) string {
			if v, ok := s.Figures[id]; ok {
				return f(v)
			}
			return "-"
		}
		fmt.Fprintf(
			tw,
			"%s\t%s\t%s\t%s\t%s\t%s\t%s\t%d\t%d\n",
			s.Name,
			timeline.Seconds(s.Seconds),
			s.Rhythm,
			cell("shocks", timeline.FormatNumber),
			cell(
				"compression_fraction",
				func(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) },
			),
			cell("longest_pause", func(v float64) string { return timeline.Seconds(v).String() }),
			s.Outcome+twin(s),
			s.Unsure,
			s.Faults,
		)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	twins := ""
	if n := countTwins(list); n > 0 {
		twins = fmt.Sprintf(", %d of them twins: cases that another record tells as well, which count once", n)
	}
	_, err := fmt.Fprintf(w, "%d records%s\n%s\n", len(list), twins, caution)
	return err
}

func twin(s review.Summary) string {
	if s.Twin == "" {
		return ""
	}
	return " (twin of " + s.Twin + ")"
}

func countTwins(list []review.Summary) (n int) {
	for _, s := range list {
		if s.Twin != "" {
			n++
		}
	}
	return n
}

// Summary prints each figure by month, with the natural limits of its run chart.
func Summary(w io.Writer, list []review.Summary, defs []figures.Definition, caution string) error {
	byID := map[string]figures.Definition{}
	for _, d := range defs {
		byID[d.ID] = d
	}
	for _, c := range review.RunCharts(list, defs) {
		d := byID[c.ID]
		text := func(v float64) string {
			return FigureText(figures.Figure{Definition: d, Known: true, Value: v, Low: v, High: v})
		}
		fmt.Fprintf(w, "%s: mean of the months %s", d.Name, text(c.Mean))
		if c.Limits {
			fmt.Fprintf(w, ", natural limits %s to %s", text(math.Max(0, c.Low)), text(c.High))
		}
		fmt.Fprintln(w)
		for _, m := range c.Months {
			note := ""
			if m.Outside {
				note = "  outside the limits: " + strings.Join(m.Worst, ", ")
			}
			fmt.Fprintf(w, "  %s  %s  (%d records)%s\n", m.Month, text(m.Median), m.Records, note)
		}
	}
	_, err := fmt.Fprintln(w, caution)
	return err
}

// Package paper has what is printed or kept as one file: the card, the list of
// all callouts, the report of a record, run charts. Each is a page of its own
// that loads nothing; a headless Chromium makes a PDF of it.
package paper

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"time"

	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

//go:embed report.html
var reportHTML string

// telephone is how wide the course is drawn for a telephone, in units of the picture.
const telephone = 330

// Report writes the report of the record in dir as one page that loads nothing
// (HTML).
func Report(w io.Writer, r *review.Record, dir string) error {
	chart, err := review.Chart(r, 0)
	if err != nil {
		return err
	}
	narrow, err := review.Chart(r, telephone)
	if err != nil {
		return err
	}
	whole, err := record.Open(dir)
	if err != nil {
		return err
	}
	hashes, err := whole.Hashes()
	if err != nil {
		return err
	}
	t, err := template.New("report").Funcs(template.FuncMap{
		"value": FigureText, "number": timeline.FormatNumber,
		"seconds": func(s float64) string { return timeline.Seconds(s).Clock() },
		"minutes": timeline.Time.Clock,
		"percent": func(x float64) string { return fmt.Sprintf("%.0f %%", 100*x) },
		"wall":    func(at timeline.Time) string { return r.Clock(at).Format(time.TimeOnly) },
		"code": func(at timeline.Time) string {
			if r.Started == timeline.Never {
				return ""
			}
			return (at - r.Started).String()
		},
	}).Parse(reportHTML)
	if err != nil {
		return err
	}
	return t.Execute(
		w,
		map[string]any{"R": r, "Chart": template.HTML(chart), "Narrow": template.HTML(narrow),
			"Hashes": hashes, "Fingerprint": whole.Fingerprint()},
	)
}

// FigureText is a figure as a person reads it, with its range.
func FigureText(f figures.Figure) string {
	one := func(x float64) string {
		switch {
		case f.ID == "sustained":
			return map[bool]string{true: "yes", false: "no"}[x == 1]
		case f.Unit == "s" && x < 60:
			return timeline.FormatNumber(math.Round(10*x)/10) + " s"
		case f.Unit == "s":
			return timeline.Seconds(x).Clock()
		case f.IsShare():
			return fmt.Sprintf("%.0f %%", 100*x)
		}
		return timeline.FormatNumber(math.Round(10*x) / 10)
	}
	switch {
	case !f.Known && f.Why != "":
		return "unknown: " + f.Why
	case !f.Known:
		return "unknown"
	case one(f.Low) != one(f.High): // a range that shows
		return fmt.Sprintf("%s (%s to %s)", one(f.Value), one(f.Low), one(f.High))
	}
	return one(f.Value)
}

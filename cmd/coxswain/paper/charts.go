package paper

import (
	"html/template"
	"io"

	"coxswain/timeline/figures"
	"coxswain/timeline/review"
)

var chartsPage = template.Must(template.New("charts").Parse(`<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>coxswain: run charts</title>
<style>body { font: 11pt/1.4 "DejaVu Sans", Arial, sans-serif; color: #1d2329; margin: 1cm auto; max-width: 24cm; }
svg { width: 100%; height: auto; } .small { font-size: 8pt; color: #3c464f; }</style></head><body><main>
<h1>Run charts of {{.Records}} records</h1><p><b>{{.Caution}}</b></p>
<p class="small">Median of each month, with a bar from the lower to the upper quartile (Tukey's
hinges). The broken lines are the mean and the natural limits of an individuals
chart (mean and 2.66 mean moving ranges; Wheeler 1993), drawn from eight months on, and
what the figure is held against. A filled square is a month that chance does not explain (Nelson 1984: one beyond the
limits, nine in a row on one side of the mean, six in a row that rise or fall);
the others tell nothing new.</p>
{{range .Charts}}<h2>{{.Name}}</h2><p class="small">{{.Definition}} {{.Source}}</p>{{.SVG}}
{{range .Outside}}<p>{{.Month}}: {{.Signal}}{{range .Worst}} <a href="{{.}}">{{.}}</a>{{end}}</p>{{end}}{{end}}
</main></body></html>`))

// Charts writes the run charts of every figure that the records know, as one
// page (HTML).
func Charts(w io.Writer, list []review.Summary, defs []figures.Definition, caution string) error {
	type item struct {
		Name, Definition, Source string
		SVG                      template.HTML
		Outside                  []review.Month
	}
	var items []item
	for _, d := range defs {
		c := review.RunChartOf(list, d)
		if len(c.Months) == 0 {
			continue
		}
		svg, err := review.DrawRunChart(c, d, 0)
		if err != nil {
			return err
		}
		it := item{d.Name, d.Definition, d.Source, template.HTML(svg), nil}
		for _, m := range c.Months {
			if m.Signal != "" {
				it.Outside = append(it.Outside, m)
			}
		}
		items = append(items, it)
	}
	return chartsPage.Execute(w, map[string]any{"Records": len(list), "Caution": caution, "Charts": items})
}

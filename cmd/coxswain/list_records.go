package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"runtime"
	"sort"
	"strings"
	"sync"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/paper"
	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

func newRecords(c *config.Config) *cobra.Command {
	var search, charts, parquetFile string
	var asJSON, summary bool
	cmd := &cobra.Command{
		Use: "records", Short: "List, search and summarise the records of a folder",
		Long: `List the records under --records, newest last. --summary gives the median of each
figure by month; --charts draws run charts with natural limits and links the
records behind a month outside them; --parquet writes a table for an engine such
as DuckDB.`,
		Example: "  coxswain records --records /var/lib/coxswain\n  coxswain records --search \"VF 2026-03\"\n  coxswain records --summary\n  coxswain records --charts charts.html --parquet records.parquet",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			defs, err := c.Figures.Definitions()
			if err != nil {
				return err
			}
			list, bad, err := summaries(c.Folder, defs)
			if err != nil {
				return err
			}
			for _, b := range bad {
				fmt.Fprintln(cmd.ErrOrStderr(), "coxswain: left out:", record.Printable(b))
			}
			list = matching(list, search)
			if parquetFile != "" {
				if err := toFile(parquetFile, func(w io.Writer) error { return review.WriteParquet(w, list) }); err != nil {
					return err
				}
			}
			if charts != "" {
				return toFile(charts, func(w io.Writer) error { return paper.Charts(w, list, defs, Caution) })
			}
			switch {
			case asJSON && summary:
				return json.NewEncoder(cmd.OutOrStdout()).Encode(allCharts(list, defs))
			case asJSON:
				return json.NewEncoder(cmd.OutOrStdout()).Encode(list)
			case summary:
				return printSummary(cmd.OutOrStdout(), list, defs)
			}
			return printRecords(cmd.OutOrStdout(), list)
		},
	}
	f := cmd.Flags()
	f.StringVar(&search, "search", "", "only records whose line has all these words")
	f.BoolVar(&summary, "summary", false, "medians by month")
	f.StringVar(&charts, "charts", "", "write run charts to this HTML file")
	f.StringVar(&parquetFile, "parquet", "", "write the table to this Parquet file")
	f.BoolVar(&asJSON, "json", false, "as JSON")
	return cmd
}

func toFile(path string, write func(io.Writer) error) error {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return err
	}
	return record.WriteFile(path, b.Bytes())
}

// summaries reads every record of a folder, on all cores. One that cannot be
// read is named and left out.
func summaries(records string, defs []figures.Definition) (list []review.Summary, bad []string, err error) {
	found, err := record.Dirs(records)
	if err != nil {
		return nil, nil, err
	}
	if len(found) == 0 {
		return nil, nil, fmt.Errorf("%s: holds no records: name the folder with --records", records)
	}
	lines, why := make([]review.Summary, len(found)), make([]string, len(found))
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.NumCPU() {
		wg.Go(func() {
			for i := range next {
				r, err := record.Open(found[i])
				if err != nil {
					why[i] = err.Error()
					continue
				}
				lines[i] = review.Summarise(r.Events, defs)
				lines[i].Path, lines[i].Name = found[i], r.Name()
			}
		})
	}
	for i := range found {
		next <- i
	}
	close(next)
	wg.Wait()
	for i := range lines {
		if why[i] != "" {
			bad = append(bad, why[i])
		} else {
			list = append(list, lines[i])
		}
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].Wall.Before(list[j].Wall) })
	return list, bad, nil
}

func matching(list []review.Summary, search string) []review.Summary {
	var out []review.Summary
	for _, s := range list {
		line := strings.ToLower(strings.Join([]string{s.Name, s.Wall.Format(time.RFC3339), s.Rhythm, s.Outcome}, " "))
		all := true
		for _, w := range strings.Fields(strings.ToLower(search)) {
			all = all && strings.Contains(line, w)
		}
		if all {
			out = append(out, s)
		}
	}
	return out
}

func printRecords(w io.Writer, list []review.Summary) error {
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "record\tlength\tfirst rhythm\tshocks\thands on\tlongest pause\toutcome\tunsure\tfaults")
	for _, s := range list {
		cell := func(id string, f func(float64) string) string {
			if v, ok := s.Figures[id]; ok {
				return f(v)
			}
			return "-"
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%d\t%d\n", s.Name, timeline.Seconds(s.Seconds), s.Rhythm, cell("shocks", timeline.FormatNumber),
			cell("compression_fraction", func(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) }), cell("longest_pause", func(v float64) string { return timeline.Seconds(v).String() }), s.Outcome, s.Unsure, s.Faults)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "%d records\n%s\n", len(list), Caution)
	return err
}

func allCharts(list []review.Summary, defs []figures.Definition) []review.RunChart {
	var out []review.RunChart
	for _, d := range defs {
		if c := review.RunChartOf(list, d); len(c.Months) > 0 {
			out = append(out, c)
		}
	}
	return out
}

func printSummary(w io.Writer, list []review.Summary, defs []figures.Definition) error {
	byID := map[string]figures.Definition{}
	for _, d := range defs {
		byID[d.ID] = d
	}
	for _, c := range allCharts(list, defs) {
		d := byID[c.ID]
		text := func(v float64) string {
			return paper.FigureText(figures.Figure{Definition: d, Known: true, Value: v, Low: v, High: v})
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
	_, err := fmt.Fprintln(w, Caution)
	return err
}

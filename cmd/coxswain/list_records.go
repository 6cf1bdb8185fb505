package main

import (
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/paper"
	"coxswain/cmd/coxswain/rig"
	"coxswain/cmd/coxswain/web"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

const recordsHelp = `List the records under --records, newest last. --summary gives the median of each
figure by month; --charts draws run charts with natural limits and links the
records behind a month outside them; --parquet writes a table for an engine such
as DuckDB. --serve has all of it on a page of this machine: search, open a record,
run charts, how teams do in their drills.

A case that lies in two folders, because it was amended in both or was copied, counts
once: the record whose journal tells most, else the first by name. The other is marked
as its twin (twin_of in JSON and Parquet).`

func newRecords(c *config.Config) *cobra.Command {
	var search, charts, parquetFile string
	var asJSON, summary, serve bool
	p := &web.Private{}
	cmd := &cobra.Command{
		Use: "records", Short: "List, search and summarise the records of a folder",
		Long: recordsHelp,
		Example: `  coxswain records --records /var/lib/coxswain
  coxswain records --search "VF 2026-03"
  coxswain records --serve
  coxswain records --summary
  coxswain records --charts charts.html --parquet records.parquet`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if serve {
				return servePages(cmd, c, p, nil)
			}
			defs, err := c.Figures.Definitions()
			if err != nil {
				return err
			}
			list, bad, err := review.LoadAll(c.Folder, defs)
			if err != nil {
				return err
			}
			for _, b := range bad {
				fmt.Fprintln(cmd.ErrOrStderr(), "coxswain: left out:", record.Printable(b))
			}
			list = review.Query{Search: search}.Of(list)
			if err := paper.ToFile(parquetFile, func(w io.Writer) error { return review.WriteParquet(w, list) }); err != nil {
				return err
			}
			switch {
			case charts != "":
				return paper.ToFile(charts, func(w io.Writer) error { return paper.Charts(w, list, defs, Caution) })
			case summary && asJSON:
				return json.NewEncoder(cmd.OutOrStdout()).Encode(review.RunCharts(list, defs))
			case summary:
				return paper.Summary(cmd.OutOrStdout(), list, defs, Caution)
			case asJSON:
				return json.NewEncoder(cmd.OutOrStdout()).Encode(list)
			}
			return paper.Records(cmd.OutOrStdout(), list, Caution)
		},
	}
	servedFlags(cmd, p)
	f := cmd.Flags()
	f.StringVar(&search, "search", "", "only records whose line has all these words")
	f.BoolVar(&summary, "summary", false, "medians by month")
	f.StringVar(&charts, "charts", "", "write run charts to this HTML file")
	f.StringVar(&parquetFile, "parquet", "", "write the table to this Parquet file")
	f.BoolVar(&asJSON, "json", false, "as JSON")
	f.BoolVar(&serve, "serve", false, "serve them as a page on this machine")
	return cmd
}

// servePages serves the page of all records; with drills, also theirs.
func servePages(cmd *cobra.Command, c *config.Config, p *web.Private, drills *web.Drills) error {
	defs, err := c.Figures.Definitions()
	if err != nil {
		return err
	}
	amend, err := rig.Amends(c)
	if err != nil {
		return err
	}
	p.Out, p.Caution = cmd.OutOrStdout(), Caution
	return p.ServeRecords(cmd.Context(), c.Folder, reviewed(defs, amend), defs, drills)
}

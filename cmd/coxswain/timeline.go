package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/paper"
	"coxswain/timeline/record"
)

func newTimeline() *cobra.Command {
	var asJSON, all, points bool
	cmd := &cobra.Command{
		Use: "timeline DIR", Short: "Print the timeline of a record",
		Example: `  coxswain timeline records/2026-03-01T140000
  coxswain timeline DIR --all      # with every prompt that was spoken
  coxswain timeline DIR --points   # time points of the Utstein template
  coxswain timeline DIR --json`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			events, tail, err := record.Read(args[0])
			if err != nil && len(events) == 0 {
				return err
			}
			if points {
				return paper.TimePoints(cmd.OutOrStdout(), events, asJSON, Caution)
			}
			if asJSON {
				enc := json.NewEncoder(cmd.OutOrStdout())
				for _, e := range events {
					if err := enc.Encode(e); err != nil {
						return err
					}
				}
			} else if perr := paper.Timeline(cmd.OutOrStdout(), events, all, Caution); perr != nil {
				return perr
			} else if r, err := record.Open(args[0]); err == nil {
				for _, seq := range slices.Sorted(maps.Keys(r.Unsigned())) {
					fmt.Fprintf(cmd.OutOrStdout(), "#%d was amended after the record was signed, and is unsigned\n", seq)
				}
			}
			if tail.Reason != "" {
				fmt.Fprintln(cmd.ErrOrStderr(), "coxswain:", record.Printable(tail.Reason))
			}
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "every event as it lies in the journal, one JSON object a line (NDJSON)")
	cmd.Flags().BoolVar(&all, "all", false, "prompts as well as callouts")
	cmd.Flags().BoolVar(&points, "points", false, "Utstein time points instead of events")
	return cmd
}

package main

import (
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/timeline/drill"
	"coxswain/timeline/record"
)

func newDrill(c *config.Config) *cobra.Command {
	var in, record, wall string
	var asJSON bool
	cmd := &cobra.Command{
		Use: "drill [CASE]", Short: "Practise on an invented case, and be scored against the protocol",
		Long: `Without CASE: list the cases. With it: coxswain tells the case, listens to your
callouts as in a session, and afterwards scores the timeline against the
protocol, with the reason and the source for every point lost.

` + Caution,
		Example: `  coxswain drill
  coxswain drill shockable
  coxswain drill child --from practice.wav --record out/    # from a recording
  coxswain drill pea --score records/2026-03-01T140000      # score a record again`,
		Args: cobra.MaximumNArgs(1),
	}
	var score string
	cmd.Flags().StringVar(&in, "from", "", "hear a recording instead of the microphone")
	cmd.Flags().StringVar(&record, "record", "", "folder for the record (with --from)")
	cmd.Flags().StringVar(&wall, "wall", "2000-01-01T00:00:00Z", "wall-clock time of the recording's first sample")
	cmd.Flags().StringVar(&score, "score", "", "score this record; play nothing")
	cmd.Flags().BoolVar(&asJSON, "json", false, "the score as JSON")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 {
			return listCases(cmd.OutOrStdout())
		}
		drill, err := drill.Load(args[0])
		if err != nil {
			return err
		}
		c.Protocol = drill.Protocol
		switch {
		case score != "":
			record = score
		case in != "":
			at, err := time.Parse(time.RFC3339, wall)
			if err != nil {
				return fmt.Errorf("--wall %q: want a time such as 2026-03-01T14:00:00+01:00", wall)
			}
			if record == "" {
				return fmt.Errorf("where should the record go? say --record DIR")
			}
			if err := replay(c, replayed{in, record, at, drill, false}, cmd.ErrOrStderr(), cmd.ErrOrStderr()); err != nil {
				return err
			}
		default:
			if record, err = runLive(cmd.Context(), c, drill, cmd.ErrOrStderr()); err != nil {
				return err
			}
		}
		return printScore(cmd.OutOrStdout(), c, drill, record, asJSON)
	}
	return cmd
}

func listCases(w io.Writer) error {
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, id := range drill.IDs() {
		c, err := drill.Load(id)
		if err != nil {
			return err
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\tup to %g min\n", id, c.Title, c.Protocol, c.Minutes)
	}
	return tw.Flush()
}

func printScore(w io.Writer, c *config.Config, drill *drill.Case, dir string, asJSON bool) error {
	p, err := protocol(c)
	if err != nil {
		return err
	}
	events, _, err := record.Read(dir)
	if err != nil {
		return err
	}
	findings := drill.Score(p, events)
	if asJSON {
		return json.NewEncoder(w).Encode(map[string]any{"case": drill.ID, "record": dir, "findings": findings, "caution": Caution})
	}
	got, of := 0, 0
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "points\tlooked for\tfound\tsource")
	for _, f := range findings {
		got, of = got+f.Points, of+f.Of
		fmt.Fprintf(tw, "%d of %d\t%s\t%s\t%s\n", f.Points, f.Of, f.Reason, f.Found, f.Source)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	_, err = fmt.Fprintf(w, "\n%s: %d of %d points. Record: %s\n%s\n", drill.Title, got, of, dir, Caution)
	return err
}

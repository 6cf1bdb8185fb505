package main

import (
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
)

func newTimeline() *cobra.Command {
	var asJSON, all, points bool
	cmd := &cobra.Command{
		Use: "timeline DIR", Short: "Print the timeline of a record",
		Example: "  coxswain timeline records/2026-03-01T140000\n  coxswain timeline DIR --all      # with every prompt that was spoken\n  coxswain timeline DIR --points   # time points of the Utstein template\n  coxswain timeline DIR --json",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			events, tail, err := record.Read(args[0])
			if err != nil && len(events) == 0 {
				return err
			}
			if points {
				return printPoints(cmd.OutOrStdout(), events, asJSON)
			}
			if asJSON {
				enc := json.NewEncoder(cmd.OutOrStdout())
				for _, e := range events {
					if err := enc.Encode(e); err != nil {
						return err
					}
				}
			} else if perr := printTimeline(cmd.OutOrStdout(), events, all); perr != nil {
				return perr
			}
			if tail.Reason != "" {
				fmt.Fprintln(cmd.ErrOrStderr(), "coxswain:", record.Printable(tail.Reason))
			}
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON object a line")
	cmd.Flags().BoolVar(&all, "all", false, "prompts as well as callouts")
	cmd.Flags().BoolVar(&points, "points", false, "Utstein time points instead of events")
	return cmd
}

// printPoints prints the Utstein time points by session time and wall clock.
func printPoints(w io.Writer, events []timeline.Event, asJSON bool) error {
	var wall time.Time
	if len(events) > 0 && events[0].Session != nil {
		wall, _ = time.Parse(time.RFC3339Nano, events[0].Session.Wall)
	}
	clock := func(p figures.TimePoint) string {
		if p.At == timeline.Never {
			return ""
		}
		return wall.Add(audio.Duration(int64(p.At))).Round(time.Second).Format(time.RFC3339)
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
	_, err := fmt.Fprintln(w, "\n"+Caution)
	return err
}

// printTimeline prints events as a table: session time, time since the code
// started, what happened, and how surely it was heard.
func printTimeline(w io.Writer, events []timeline.Event, all bool) error {
	gone := timeline.Retracted(events)
	start := timeline.Fold(events).CodeAt()
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "#\tsession\tcode\tevent\theard as\tsure")
	for _, e := range events {
		switch e.Kind {
		case timeline.CueSpoken, timeline.CueDropped:
			if !all {
				continue
			}
		}
		code, text, sure := "", "", ""
		if start != timeline.Never && e.At >= start {
			code = (e.At - start).String()
		}
		if e.Heard != nil {
			text, sure = e.Heard.Text, fmt.Sprintf("%.0f %%", 100*e.Heard.Confidence)
		}
		what := e.Describe()
		if gone[e.Seq] {
			what += " (taken back)"
		}
		fmt.Fprintf(tw, "%d\t%s\t%s\t%s\t%s\t%s\n", e.Seq, e.At, code, what, text, sure)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n"+Caution)
	return nil
}

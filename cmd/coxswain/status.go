package main

import (
	"encoding/json"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/session"
	"coxswain/timeline"
)

func newStatus(c *config.Config) *cobra.Command {
	var asJSON, display bool
	cmd := &cobra.Command{
		Use: "status", Short: "Say how the running session stands",
		Long:    "Ask the coxswain that runs on --records, over its local socket. Exit code 1 if none runs or it is not well.",
		Example: "  coxswain status --records /var/lib/coxswain\n  coxswain status --json\n  coxswain status --display     # the address of the wall display",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if display {
				address, err := monitor.Display(cmd.Context(), c.Folder)
				if err == nil {
					_, err = fmt.Fprintln(cmd.OutOrStdout(), address)
				}
				return err
			}
			n, err := monitor.Ask(cmd.Context(), c.Folder)
			if err != nil {
				return err
			}
			if asJSON {
				err = json.NewEncoder(cmd.OutOrStdout()).Encode(n)
			} else {
				err = printStatus(cmd.OutOrStdout(), n)
			}
			if err == nil && !n.Healthy {
				return errQuiet
			}
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	cmd.Flags().BoolVar(
		&display,
		"display",
		false,
		"print the address of the wall display, with the word that opens it",
	)
	return cmd
}

func printStatus(w io.Writer, n *session.Snapshot) error {
	clock := func(s *float64) string {
		if s == nil {
			return "-"
		}
		return timeline.Seconds(*s).String()
	}
	fmt.Fprintf(
		w,
		"%s; session %s, code %s, cycle left %s\n",
		n.State,
		timeline.Seconds(n.Session),
		clock(n.Code),
		clock(n.CycleLeft),
	)
	for _, d := range n.Due {
		fmt.Fprintf(w, "due in %.0f s: %s\n", d.In, d.Text)
	}
	for _, l := range n.Last {
		fmt.Fprintf(w, "%.0f s ago: %s (%.0f %%)\n", l.Ago, l.Text, 100*l.Sure)
	}
	_, err := fmt.Fprintf(
		w,
		"recogniser: %s; sound: %s; microphone %.0f dBFS; record %s, saved: %v; faults: %d\n%s\n",
		n.Recogniser,
		n.Sound,
		n.Microphone,
		n.Record,
		n.Saving,
		n.Faults,
		n.Caution,
	)
	return err
}

package main

import (
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/monitor"
)

func newStatus(c *config.Config) *cobra.Command {
	var asJSON, display bool
	cmd := &cobra.Command{
		Use: "status", Short: "Say how the running session stands",
		Long: "Ask the coxswain that runs on --records, over its local socket. " +
			"Exit code 1 if none runs or it is not well.",
		Example: "  coxswain status --records /var/lib/coxswain\n  coxswain status --json\n" +
			"  coxswain status --display     # the address of the wall display",
		Args: cobra.NoArgs,
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
				err = monitor.Print(cmd.OutOrStdout(), n)
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

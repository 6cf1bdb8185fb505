package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/monitor"
)

func newStart(c *config.Config) *cobra.Command {
	return &cobra.Command{
		Use: "start", Short: "Start a case without a voice, and with it its record",
		Long: `Have the coxswain that runs on --records start a case, over its local socket, as
if "start the code" had been called: for a button on the wall, or when it was not
heard. If one runs already, nothing changes. From another machine: POST /start
with the token of --http-token.`,
		Example: "  coxswain start --records /var/lib/coxswain\n" +
			"  curl -X POST -H \"Authorization: Bearer $TOKEN\" http://room-7:7470/start",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := monitor.Start(cmd.Context(), c.Folder); err != nil {
				return err
			}
			_, err := fmt.Fprintln(cmd.OutOrStdout(), "started")
			return err
		},
	}
}

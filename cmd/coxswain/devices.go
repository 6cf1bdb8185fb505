package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/ready"
)

func newDevices(c *config.Config) *cobra.Command {
	var asJSON, loop bool
	cmd := &cobra.Command{
		Use: "devices", Short: "List the sound devices",
		Example: "  coxswain devices\n  coxswain devices --json\n" +
			"  coxswain devices --loop        # plays a second of noise bursts and measures their way back",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if loop {
				m, err := ready.MeasureLoop(c)
				if err == nil && !m.Heard() {
					err = fmt.Errorf(
						"the microphone does not hear the loudspeaker: check volume, mute and which devices are chosen",
					)
				}
				if err == nil {
					fmt.Fprintln(cmd.OutOrStdout(), m)
				}
				return err
			}
			return ready.ListDevices(cmd.OutOrStdout(), asJSON)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	cmd.Flags().BoolVar(&loop, "loop", false, "measure the delay from loudspeaker to microphone")
	return cmd
}

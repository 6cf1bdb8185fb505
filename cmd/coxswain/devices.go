package main

import (
	"encoding/json"
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"coxswain/audio/device"
	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/ready"
)

func newDevices(c *config.Config) *cobra.Command {
	var asJSON, loop bool
	cmd := &cobra.Command{
		Use: "devices", Short: "List the sound devices",
		Example: "  coxswain devices\n  coxswain devices --json\n  coxswain devices --loop        # plays a second of noise bursts and measures their way back",
		Args:    cobra.NoArgs,
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
			list, err := device.List()
			if err != nil {
				return err
			}
			if asJSON {
				if list == nil {
					list = []device.Info{}
				}
				return json.NewEncoder(cmd.OutOrStdout()).Encode(list)
			}
			if len(list) == 0 {
				return fmt.Errorf("no sound devices: plug one in, or start the sound server")
			}
			tw := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 4, 2, ' ', 0)
			fmt.Fprintln(tw, "name\thost\tin\tout\tHz\tdefault")
			for _, d := range list {
				fmt.Fprintf(tw, "%s\t%s\t%d\t%d\t%.0f\t%s\n", d.Name, d.Host, d.Inputs, d.Outputs, d.RateHz, d.Default)
			}
			return tw.Flush()
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	cmd.Flags().BoolVar(&loop, "loop", false, "measure the delay from loudspeaker to microphone")
	return cmd
}

package main

import (
	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/rig"
)

func newRun(c *config.Config) *cobra.Command {
	return &cobra.Command{
		Use: "run", Short: "Listen and speak: microphone in, loudspeaker out, until SIGTERM",
		Long: `Listen on the sound device until SIGTERM or Ctrl-C. The first callout of a case
(or coxswain start) begins a record, in a new folder under --records that is named
by the time it begins, with the minute of sound before it; the confirmed end, or
20 minutes without a callout, ends it. Between cases nothing is written; with
--record always a record runs all the time. A case that was cut
off (crash, power cut) less than --resume-minutes ago goes on: its clock, cycle
and intervals are right, the gap is in the log and spoken once.

` + Caution,
		Example: `  coxswain run
  coxswain run --records /var/lib/coxswain --rate 105
  coxswain run --input "USB Audio: - (hw:1,0)" --recogniser pocketsphinx`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := rigOf(c, cmd).Live(cmd.Context(), rig.Practice{})
			return err
		},
	}
}

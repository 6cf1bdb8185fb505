package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/rig"
)

func newReplay(c *config.Config) *cobra.Command {
	var out, wall string
	var quiet, echoed bool
	cmd := &cobra.Command{
		Use: "replay IN.wav --out DIR", Short: "Run a session from a recording instead of a microphone",
		Long: `Run a session from a recording: the same pipeline as ` + "`coxswain run`" + `, faster than
real time. The same recording gives the same record, byte for byte.

IN.wav is a WAV file of any usual kind (16 to 32 bits or float, 8 to 192 kHz). DIR
gets the record of the first case: events.jsonl (the journal) and audio-00.wav
(channel 1 the room, channel 2 what coxswain said), from a minute before its first
callout to its end. Further cases go to DIR-2, DIR-3.`,
		Example: `  coxswain replay drill.wav --out record/
  coxswain replay drill.wav --out record/ --wall 2026-03-01T14:00:00+01:00
  sox audio-00.wav room.wav remix 1 && coxswain replay room.wav --echoed --out again/
  coxswain timeline record/`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				return fmt.Errorf("where should the record go? say --out DIR")
			}
			at, err := time.Parse(time.RFC3339, wall)
			if err != nil {
				return fmt.Errorf("--wall %q: want a time such as 2026-03-01T14:00:00+01:00", wall)
			}
			progress := cmd.ErrOrStderr()
			if quiet {
				progress = io.Discard
			}
			fmt.Fprintln(cmd.ErrOrStderr(), Caution)
			return rigOf(c, cmd).Replay(rig.Recording{In: args[0], Dir: out, Wall: at, Echoed: echoed}, progress)
		},
	}
	cmd.Flags().StringVar(&out, "out", "", "folder for the record; made if missing")
	cmd.Flags().StringVar(&wall, "wall", "2000-01-01T00:00:00Z", "wall-clock time of the first sample")
	cmd.Flags().BoolVar(
		&echoed,
		"echoed",
		false,
		"the recording heard coxswain's own voice, as channel 1 of a live record did",
	)
	cmd.Flags().BoolVar(&quiet, "quiet", false, "no progress bar")
	return cmd
}

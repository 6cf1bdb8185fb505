package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

func newMend() *cobra.Command {
	return &cobra.Command{
		Use: "mend DIR", Short: "Finish a record whose session was cut off",
		Long: `Finish a record after a crash or power cut: cut an unfinished last line from the
journal (it is kept beside it), make the sizes in the audio files true, write the
labels and close the journal. A record that is still being written is refused.`,
		Args: cobra.ExactArgs(1), Example: "  coxswain mend records/2026-03-01T140000",
		RunE: func(cmd *cobra.Command, args []string) error {
			r, err := record.Mend(args[0])
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(
				cmd.OutOrStdout(),
				"%s: finished: %d events, %v of audio\n",
				args[0],
				len(r.Events),
				audio.Duration(int64(timeline.End(r.Events))),
			)
			return err
		},
	}
}

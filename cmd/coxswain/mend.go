package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/timeline/record"
)

func newMend() *cobra.Command {
	return &cobra.Command{
		Use: "mend DIR", Short: "Finish a record whose session was cut off",
		Long: `Finish a record after a crash, a power cut or a full disk: cut an unfinished last
line from the journal (it is kept beside it), make the sizes in the audio files
true, put silence where sound was lost at the end, write the labels and close the
journal. A record that is still being written is refused.`,
		Args: cobra.ExactArgs(1), Example: "  coxswain mend records/2026-03-01T140000",
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := record.Mend(args[0])
			if err != nil {
				return err
			}
			lost := ""
			if m.Silence > 0 {
				lost = fmt.Sprintf(", the last %v silence: that sound was lost", audio.Duration(m.Silence))
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s: finished: %d events, %v of audio%s\n",
				record.Printable(args[0]), len(m.Events), audio.Duration(m.Samples), lost)
			return err
		},
	}
}

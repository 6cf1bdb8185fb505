package main

import (
	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/rig"
)

func newEar() *cobra.Command {
	return &cobra.Command{
		Use: "ear", Hidden: true, Args: cobra.NoArgs,
		Short: "The built-in recogniser as a plug-in process (started by coxswain)",
		RunE: func(cmd *cobra.Command, _ []string) error {
			return rig.ServeEar(Version, cmd.InOrStdin(), cmd.OutOrStdout())
		},
	}
}

func newListen(c *config.Config) *cobra.Command {
	var asJSON bool
	var reference string
	var against []string
	cmd := &cobra.Command{
		Use: "listen FILE.wav|FOLDER ...", Short: "Recognise callouts in recordings, and measure a recogniser",
		Long: `Recognise callouts in recordings (WAV files of any usual kind).

--json prints one object a line: file, start_s, end_s, decided_s (how much had
been heard when it was decided), callout, text, values, confidence.

--reference FILE.tsv measures instead: the file says what was really said
(columns file, condition, start_s, end_s, callout, text, values; an empty
callout is speech that must not be taken for one). What is near a callout is decided
as in a session: by the case so far, and what would be asked about counts as missed.`,
		Example: `  coxswain listen drill.wav
  coxswain listen a.wav b.wav --json
  coxswain listen words.wav --vocabulary ten-words.yaml --json
  coxswain listen eval/ --reference eval/reference.tsv
  coxswain listen eval/ --reference eval/reference.tsv --against pocketsphinx`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			r := rigOf(c, cmd)
			if reference != "" {
				return r.Measure(cmd.OutOrStdout(), args, reference, against)
			}
			return r.Listen(cmd.OutOrStdout(), args, asJSON)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON object a line")
	cmd.Flags().StringArrayVar(
		&against,
		"against",
		nil,
		"with --reference: another recogniser to measure beside the first",
	)
	cmd.Flags().StringVar(&reference, "reference", "", "measure against this reference file")
	return cmd
}

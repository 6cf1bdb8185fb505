package main

import (
	"encoding/json"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/rig"
	"coxswain/intents"
	"coxswain/intents/acoustic"
	"coxswain/intents/evaluate"
)

func newEar() *cobra.Command {
	return &cobra.Command{
		Use: "ear", Hidden: true, Args: cobra.NoArgs,
		Short: "The built-in recogniser as a plug-in process (started by coxswain)",
		RunE: func(cmd *cobra.Command, _ []string) error {
			runtime.GOMAXPROCS(1)  // one stream: more threads only spin
			debug.SetGCPercent(25) // little garbage, much of the heap for good
			hear := func(v *intents.Vocabulary) (intents.Recogniser, error) {
				r, err := acoustic.New(v)
				debug.FreeOSMemory() // what only the start needed
				return r, err
			}
			return intents.Serve("builtin "+Version, hear, cmd.InOrStdin(), cmd.OutOrStdout())
		},
	}
}

func newListen(c *config.Config) *cobra.Command {
	var asJSON bool
	var reference string
	var against []string
	cmd := &cobra.Command{
		Use: "listen FILE.wav|FOLDER ...", Short: "Recognise callouts in recordings, and measure a recogniser",
		Long: `Recognise callouts in recordings (16-bit mono WAV at 16 or 48 kHz).

--json prints one object a line: file, start_s, end_s, decided_s (how much had
been heard when it was decided), callout, text, values, confidence.

--reference FILE.tsv measures instead: the file says what was really said
(columns file, condition, start_s, end_s, callout, text, values; an empty
callout is speech that must not be taken for one).`,
		Example: `  coxswain listen drill.wav
  coxswain listen a.wav b.wav --json
  coxswain listen words.wav --vocabulary ten-words.yaml --json
  coxswain listen eval/ --reference eval/reference.tsv
  coxswain listen eval/ --reference eval/reference.tsv --against pocketsphinx`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			v, err := intents.LoadVocabulary(c.Vocabulary...)
			if err != nil {
				return err
			}
			if v.Alone {
				fmt.Fprintf(
					cmd.ErrOrStderr(),
					"coxswain: the vocabulary stands alone: %d callouts of its own\n",
					len(v.Callouts),
				)
			}
			files, err := evaluate.Files(args)
			if err != nil {
				return err
			}
			open, err := opener(c.Recogniser, v, cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			if reference != "" {
				return measureAll(cmd, files, reference, append([]string{c.Recogniser}, against...), v)
			}
			return evaluate.Listen(files, atATime, open, func(h evaluate.Heard) {
				if asJSON {
					b, _ := json.Marshal(h)
					fmt.Fprintln(cmd.OutOrStdout(), string(b))
					return
				}
				fmt.Fprintf(
					cmd.OutOrStdout(),
					"%s  %7.2f-%.2f s  %-20s %3.0f %%  %s\n",
					h.File,
					h.StartS,
					h.EndS,
					h.Callout,
					100*h.Confidence,
					h.Text,
				)
			})
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

// measureAll measures the named recognisers side by side.
func measureAll(cmd *cobra.Command, files []string, reference string, names []string, v *intents.Vocabulary) error {
	var list []evaluate.Recogniser
	for _, name := range names {
		open, err := opener(name, v, cmd.ErrOrStderr())
		if err != nil {
			return err
		}
		list = append(list, evaluate.Recogniser{Name: name, Open: open})
	}
	return evaluate.Measure(cmd.OutOrStdout(), cmd.ErrOrStderr(), files, atATime, reference, list)
}

// atATime is how many recordings are heard side by side.
const atATime = 2

// opener returns how to get a fresh ear for each file.
func opener(name string, v *intents.Vocabulary, stderr io.Writer) (evaluate.Opener, error) {
	if name == "builtin" { // the same code as the plug-in, without the pipe
		return evaluate.Builtin(v)
	}
	return func() (intents.Ear, error) {
		return rig.StartPlugIn(
			name,
			intents.ProcessOptions{Vocabulary: v, Lockstep: true, Patience: 30e9, Stderr: stderr},
		)
	}, nil
}

// Command coxswain listens to a resuscitation team, keeps time, speaks up and
// remembers. Run `coxswain --help`.
package main

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/session"
)

// Version is set by the Makefile.
var Version = "0.1-dev"

// Caution stands at the start of every session, in every report and in the README.
const Caution = session.Caution

func main() { os.Exit(Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

// errQuiet ends a command with exit code 1 after it has said why itself.
var errQuiet = errors.New("")

// Main runs the command line and returns the exit code: every failure is one
// clear line on stderr.
func Main(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	root := newRoot(stderr)
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	if err := root.Execute(); err != nil {
		if err != errQuiet {
			fmt.Fprintf(stderr, "coxswain: %s\n", strings.ReplaceAll(strings.TrimSpace(err.Error()), "\n", "; "))
		}
		return 1
	}
	return 0
}

func newRoot(stderr io.Writer) *cobra.Command {
	c := &conf{}
	root := &cobra.Command{
		Use:   "coxswain",
		Short: "A crew member for a resuscitation team that listens, keeps time, speaks up and remembers",
		Long: `coxswain hears what a resuscitation team calls aloud ("shock delivered"),
reads it back, keeps the metronome and the 2-minute cycle, says what is due,
and leaves a timestamped record.

` + Caution,
		Example: `  coxswain run                                  # microphone in, loudspeaker out, until stopped
  coxswain replay drill.wav --out record/       # the same session from a file
  coxswain listen drill.wav --json              # only recognise
  coxswain callouts                             # what can be said
  coxswain drill                                # practise on an invented case
  coxswain verify record/                       # is the record whole and unchanged?`,
		SilenceUsage: true, SilenceErrors: true, Version: Version,
		PersistentPreRunE: func(cmd *cobra.Command, _ []string) error {
			if err := c.load(cmd); err != nil {
				return err
			}
			slog.SetDefault(slog.New(slog.NewTextHandler(stderr, &slog.HandlerOptions{Level: c.level()})))
			return nil
		},
	}
	c.flags(root)
	root.AddCommand(newRun(c), newReplay(c), newDrill(c), newListen(c), newCallouts(c), newDevices(c), newStatus(c), newPublish(c), newRecords(c), newReview(c), newReport(c), newExport(c), newAmend(c), newCheck(c), newService(), newSign(c), newKey(), newSeal(c), newUnseal(), newRetain(c), newVerify(), newTimeline(), newMend(), newConfigCmd(c), newEar())
	return root
}

// Command coxswain listens to a resuscitation team, keeps time, speaks up and
// remembers. Run `coxswain --help`.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/again"
	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/ready"
	"coxswain/cmd/coxswain/rig"
	"coxswain/cmd/coxswain/session"
	"coxswain/timeline/record"
)

// Version is set by the Makefile.
var Version = "0.1-dev"

// Caution stands at the start of every session, in every report and in the README.
const Caution = session.Caution

func main() { os.Exit(again.Main(os.Args[1:], os.Stdin, os.Stdout, os.Stderr, Main, newRoot)) }

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
			l := monitor.NewLog(stderr) // nobody may be reading
			line := config.OneLine(err)
			fmt.Fprintf(l, "coxswain: %s\n", record.Printable(line))
			l.Close()
		}
		return 1
	}
	return 0
}

func newRoot(stderr io.Writer) *cobra.Command {
	c := &config.Config{}
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
  coxswain protocol                             # what it knows, with sources
  coxswain drill                                # practise on an invented case
  coxswain verify record/                       # is the record whole and unchanged?`,
		SilenceUsage: true, SilenceErrors: true, SuggestionsMinimumDistance: 2, Version: Version,
		Args: config.NoArgs, RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
		PersistentPreRunE: func(cmd *cobra.Command, _ []string) error {
			loaded, err := config.Load(cmd.Flags(), os.Environ())
			if err != nil {
				return err
			}
			*c = *loaded
			monitor.LogTo(stderr, c.Level())
			return nil
		},
	}
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error { return config.FlagError(cmd.CommandPath(), err) })
	for _, r := range []struct {
		cmd   *cobra.Command
		reads []string // the settings that it reads, and no other
	}{
		{newRun(c), config.Run}, {newReplay(c), config.Session},
		{newDrill(c), append([]string{"benchmarks", "sign_key"}, config.Live...)},
		{newListen(c), config.Recogniser}, {newCallouts(c), []string{"vocabulary", "protocol"}},
		{newDevices(c), config.Device},
		{newProtocol(c), []string{"protocol", "protocol_overlay", "waveform"}},
		{newDeliver(c), config.Outbox}, {newCollect(c), append([]string{"records", "benchmarks"}, config.Store...)},
		{ready.NewRehearse(c, Caution), append([]string{"vocabulary", "voice"}, config.Device...)},
		{newCheck(c), config.Run}, {newStatus(c), []string{"records"}}, {newStart(c), []string{"records"}},
		{newConfigCmd(c), config.Keys()},
		{newRecords(c), append([]string{"records", "benchmarks"}, config.Amending...)},
		{newReview(c), append([]string{"benchmarks"}, config.Amending...)}, {newAmend(c), config.Amending},
		{newReport(c), []string{"benchmarks"}},
		{newExport(c), []string{"benchmarks"}}, {newPublish(c), []string{"benchmarks"}},
		{newRetain(c), append([]string{"records", "room"}, config.Store...)},
		{newSign(c), []string{"records", "sign_key"}}, {newSeal(c), []string{"records"}},
	} {
		config.Flags(r.cmd.Flags(), r.reads...)
		root.AddCommand(r.cmd)
	}
	root.AddCommand(newKey(), newService(), newUnseal(), newVerify(), newTimeline(), newMend(), newEar())
	for _, cmd := range root.Commands() {
		cmd.Args = config.OwnWords(cmd.Args)
	}
	return root
}

// rigOf is what a command puts a session together from.
func rigOf(c *config.Config, cmd *cobra.Command) rig.Rig {
	return rig.Rig{Config: c, Software: "coxswain " + Version, Stderr: cmd.ErrOrStderr()}
}

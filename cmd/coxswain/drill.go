package main

import (
	"fmt"
	"io"
	"os"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/paper"
	"coxswain/cmd/coxswain/rig"
	"coxswain/timeline"
	"coxswain/timeline/drill"
)

// drillFlags is how a drill is asked for.
type drillFlags struct {
	in, out, wall, score, file, check string
	asJSON, silent, typed             bool
}

func newDrill(c *config.Config) *cobra.Command {
	o := &drillFlags{}
	cmd := &cobra.Command{
		Use: "drill [CASE]", Short: "Practise on an invented case, and be scored against the protocol",
		Long: `Without CASE: list the cases. With it: coxswain tells the case, hears your
callouts as in a session, and afterwards scores the timeline against the
protocol: for every point lost the reason, the source, what to do better, and
the moment to listen to. --protocol scores by another guideline.

` + Caution,
		Example: `  coxswain drill
  coxswain drill shockable
  coxswain drill shockable --silent --protocol erc-2025     # no advice: only read-backs and the beat
  coxswain drill pea --typed                                # callouts by keyboard, no sound device
  coxswain drill child --from practice.wav --record out/    # from a recording
  coxswain drill pea --score records/2026-03-01T140000      # score a record again
  coxswain drill --case ours.yaml                           # a case of your own
  coxswain drill --check ours.yaml                          # is it well formed?`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return o.run(cmd, c, args) },
	}
	f := cmd.Flags()
	f.StringVar(&o.in, "from", "", "hear a recording instead of the microphone")
	f.StringVar(&o.out, "record", "", "folder for the record (with --from)")
	f.StringVar(&o.wall, "wall", "2000-01-01T00:00:00Z", "wall-clock time of the recording's first sample")
	f.StringVar(&o.score, "score", "", "score this record; play nothing")
	f.StringVar(&o.file, "case", "", "a case of your own, a YAML `file`; its sentences are printed, not spoken")
	f.StringVar(&o.check, "check", "", "only check a case's `file`")
	f.BoolVar(&o.silent, "silent", false, "advice off: what is due is neither said nor asked")
	f.BoolVar(&o.typed, "typed", false, "type the callouts; no microphone, no loudspeaker")
	f.BoolVar(&o.asJSON, "json", false, "the score as JSON")
	return cmd
}

func (o *drillFlags) run(cmd *cobra.Command, c *config.Config, args []string) error {
	switch {
	case o.check != "":
		return checkCase(cmd.OutOrStdout(), o.check)
	case len(args) == 0 && o.file == "":
		return listCases(cmd.OutOrStdout())
	}
	chosen, err := chooseCase(args, o.file)
	if err != nil {
		return err
	}
	if made := chosen.Protocol; made != "" {
		if cmd.Flags().Changed("protocol") && c.Protocol != made {
			return fmt.Errorf("case %s is made for %s: leave --protocol out", chosen.ID, made)
		}
		c.Protocol = made
	}
	dir, err := o.play(cmd, c, chosen)
	if err != nil {
		return err
	}
	p, err := rig.Protocol(c)
	if err != nil {
		return err
	}
	return paper.Score(cmd.OutOrStdout(), p, chosen, dir, o.asJSON, Caution)
}

// play runs the drill as it was asked for and returns the record's folder.
func (o *drillFlags) play(cmd *cobra.Command, c *config.Config, chosen *drill.Case) (dir string, err error) {
	stderr := cmd.ErrOrStderr()
	p := rig.Practice{Case: chosen, Silent: o.silent, Watch: tellOn(stderr)}
	switch {
	case o.score != "":
		return o.score, nil
	case o.typed:
		fmt.Fprintln(stderr, Caution)
		return rigOf(c, cmd).Typed(cmd.Context(), p, cmd.InOrStdin())
	case o.in == "":
		return rigOf(c, cmd).Live(cmd.Context(), p)
	case o.out == "":
		return "", fmt.Errorf("where should the record go? say --record DIR")
	}
	at, err := time.Parse(time.RFC3339, o.wall)
	if err != nil {
		return "", fmt.Errorf("--wall %q: want a time such as 2026-03-01T14:00:00+01:00", o.wall)
	}
	p.Watch = nil
	return o.out, rigOf(c, cmd).Replay(rig.Recording{In: o.in, Dir: o.out, Wall: at, Practice: p}, stderr)
}

func chooseCase(args []string, file string) (*drill.Case, error) {
	switch {
	case file == "":
		return drill.Load(args[0])
	case len(args) > 0:
		return nil, fmt.Errorf("%q and --case %s are two cases: name one", args[0], file)
	}
	return readCase(file)
}

// readCase reads a case's file of up to 1 MB: one that is named by mistake may
// be a device that never ends.
func readCase(file string) (*drill.Case, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, 1<<20))
	if err != nil {
		return nil, err
	}
	return drill.Parse(file, b)
}

func checkCase(w io.Writer, file string) error {
	c, err := readCase(file)
	if err != nil {
		return err
	}
	points := 0
	for _, l := range c.Look {
		points += l.Points
	}
	_, err = fmt.Fprintf(w, "%s: %q is well formed: %d sentences, %d things looked for, %d points\n",
		file, c.Title, len(c.Tell), len(c.Look), points)
	return err
}

// tellOn prints the case as it is told.
func tellOn(w io.Writer) func(timeline.Event) {
	return func(e timeline.Event) {
		if e.Kind == timeline.CueSpoken && e.Cue == "drill" {
			fmt.Fprintf(w, "%s  %s\n", e.At, e.Sentence)
		}
	}
}

func listCases(w io.Writer) error {
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, id := range drill.IDs() {
		c, err := drill.Load(id)
		if err != nil {
			return err
		}
		fmt.Fprintf(tw, "%s\t%s\tup to %g min\n", id, c.Title, c.Minutes)
	}
	return tw.Flush()
}

package main

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/paper"
	"coxswain/cmd/coxswain/rig"
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
		return rig.CheckCase(cmd.OutOrStdout(), o.check)
	case len(args) == 0 && o.file == "":
		return rig.ListCases(cmd.OutOrStdout())
	}
	chosen, err := rig.ChooseCase(args, o.file)
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
	p := rig.Practice{Case: chosen, Silent: o.silent, Watch: rig.TellOn(stderr)}
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

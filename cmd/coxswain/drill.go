package main

import (
	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/paper"
	"coxswain/cmd/coxswain/rig"
	"coxswain/cmd/coxswain/web"
)

func newDrill(c *config.Config) *cobra.Command {
	var asJSON, serve bool
	o, served := rig.Drill{}, &web.Private{}
	cmd := &cobra.Command{
		Use: "drill [CASE]", Short: "Practise on an invented case, and be scored against the protocol",
		Long: `Without CASE: list the cases. With it: coxswain tells the case, hears your
callouts as in a session, and scores the timeline against the protocol: for every
point lost why, the source, what to do better, the moment to listen to.

` + Caution,
		Example: `  coxswain drill
  coxswain drill shockable
  coxswain drill shockable --silent --protocol erc-2025     # no advice: only read-backs and the beat
  coxswain drill pea --typed                                # callouts by keyboard, no sound device
  coxswain drill child --from practice.wav --record out/    # from a recording
  coxswain drill pea --score records/2026-03-01T140000      # score a record again
  coxswain drill --serve                                    # on a page of this machine, debriefing and all
  coxswain drill --case ours.yaml                           # a case of your own
  coxswain drill --check ours.yaml                          # is it well formed?`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := rig.DrillFlags(config.Given(cmd.Flags()), len(args) > 0 || o.File != ""); err != nil {
				return err
			}
			switch {
			case o.Check != "":
				return rig.CheckCase(cmd.OutOrStdout(), o.Check)
			case serve:
				drills, err := rigOf(c, cmd).Drills(o.File)
				if err != nil {
					return err
				}
				return servePages(cmd, c, served, &drills)
			case len(args) == 0 && o.File == "":
				return rig.ListCases(cmd.OutOrStdout(), asJSON)
			}
			o.Scored, o.Caution = cmd.Flags().Changed("protocol"), Caution
			chosen, p, dir, err := rigOf(c, cmd).Drill(cmd.Context(), o, args, cmd.InOrStdin())
			if err != nil {
				return err
			}
			return paper.Score(cmd.OutOrStdout(), p, chosen, dir, asJSON, Caution)
		},
	}
	servedFlags(cmd, served)
	f := cmd.Flags()
	f.StringVar(&o.In, "from", "", "hear a recording instead of the microphone")
	f.StringVar(&o.Out, "record", "", "folder for the record (with --from or --typed)")
	f.StringVar(&o.Wall, "wall", "2000-01-01T00:00:00Z", "wall-clock time of the recording's first sample")
	f.StringVar(&o.Score, "score", "", "score this record; play nothing")
	f.StringVar(&o.File, "case", "", "a case of your own, a YAML `file`; its sentences are printed, not spoken")
	f.StringVar(&o.Check, "check", "", "only check a case's `file`")
	f.BoolVar(&o.Silent, "silent", false, "advice off: what is due is neither said nor asked")
	f.BoolVar(&o.Typed, "typed", false, "type the callouts; no microphone, no loudspeaker")
	f.StringVar(&o.Team, "team", "", "`name` of the team that practises, for its progress")
	f.BoolVar(&serve, "serve", false, "run drills on a page of this machine")
	f.BoolVar(&asJSON, "json", false, "the score, or the list of cases, as JSON")
	return cmd
}

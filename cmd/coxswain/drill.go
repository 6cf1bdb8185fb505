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

func newDrill(c *config.Config) *cobra.Command {
	var in, out, wall, score, file, check string
	var asJSON, silent, typed bool
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
	}
	f := cmd.Flags()
	f.StringVar(&in, "from", "", "hear a recording instead of the microphone")
	f.StringVar(&out, "record", "", "folder for the record (with --from)")
	f.StringVar(&wall, "wall", "2000-01-01T00:00:00Z", "wall-clock time of the recording's first sample")
	f.StringVar(&score, "score", "", "score this record; play nothing")
	f.StringVar(&file, "case", "", "a case of your own, a YAML `file`; its sentences are printed, not spoken")
	f.StringVar(&check, "check", "", "only check a case's `file`")
	f.BoolVar(&silent, "silent", false, "advice off: what is due is neither said nor asked")
	f.BoolVar(&typed, "typed", false, "type the callouts; no microphone, no loudspeaker")
	f.BoolVar(&asJSON, "json", false, "the score as JSON")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if check != "" {
			return checkCase(cmd.OutOrStdout(), check)
		}
		if len(args) == 0 && file == "" {
			return listCases(cmd.OutOrStdout())
		}
		chosen, err := chooseCase(args, file)
		if err != nil {
			return err
		}
		if chosen.Protocol != "" && cmd.Flags().Changed("protocol") && c.Protocol != chosen.Protocol {
			return fmt.Errorf("case %s is made for %s: leave --protocol out", chosen.ID, chosen.Protocol)
		} else if chosen.Protocol != "" {
			c.Protocol = chosen.Protocol
		}
		stderr := cmd.ErrOrStderr()
		p := rig.Practice{Case: chosen, Silent: silent, Watch: tellOn(stderr)}
		dir := out
		switch {
		case score != "":
			dir = score
		case in != "":
			at, err := time.Parse(time.RFC3339, wall)
			if err != nil {
				return fmt.Errorf("--wall %q: want a time such as 2026-03-01T14:00:00+01:00", wall)
			}
			if dir == "" {
				return fmt.Errorf("where should the record go? say --record DIR")
			}
			p.Watch = nil
			err = rigOf(c, cmd).Replay(rig.Recording{In: in, Dir: dir, Wall: at, Practice: p}, stderr)
			if err != nil {
				return err
			}
		case typed:
			fmt.Fprintln(stderr, Caution)
			if dir, err = rigOf(c, cmd).Typed(cmd.Context(), p, cmd.InOrStdin()); err != nil {
				return err
			}
		default:
			if dir, err = rigOf(c, cmd).Live(cmd.Context(), p); err != nil {
				return err
			}
		}
		proto, err := rig.Protocol(c)
		if err != nil {
			return err
		}
		return paper.Score(cmd.OutOrStdout(), proto, chosen, dir, asJSON, Caution)
	}
	return cmd
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
	_, err = fmt.Fprintf(
		w,
		"%s: %q is well formed: %d sentences, %d things looked for, %d points\n",
		file,
		c.Title,
		len(c.Tell),
		len(c.Look),
		points,
	)
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

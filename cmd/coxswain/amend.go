package main

import (
	"fmt"
	"strconv"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/rig"
	"coxswain/timeline"
)

func newAmend(c *config.Config) *cobra.Command {
	var change timeline.Change
	var at, kind string
	var values map[string]string
	cmd := &cobra.Command{
		Use: "amend DIR", Short: "Add, move or retract an event of a finished record, with a reason",
		Long: `Append an amendment to the journal of a finished record. What was called stays;
figures are shown as called and as amended. What is added, and its numbers, are held
to what can be called ("coxswain callouts"). With --sign-key it is signed.`,
		Example: `  coxswain amend DIR --do retract --event 41 --by AB --reason "was a question"
  coxswain amend DIR --do move --event 12 --at 3:05 --by AB --reason "monitor clock"
  coxswain amend DIR --do add --kind drug.epinephrine --value dose_mg=1 --at 2:10 --by AB --reason "seen by two"`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			change.Kind = timeline.Kind(kind)
			if at != "" {
				t, err := timeline.ParseTime(at)
				if err != nil {
					return fmt.Errorf("--at: %w", err)
				}
				change.At = t
			}
			for slot, text := range values {
				v, err := strconv.ParseFloat(text, 64)
				if err != nil {
					return fmt.Errorf("--value %s=%q: want a number, such as dose_mg=1", slot, text)
				}
				if change.Values == nil {
					change.Values = map[string]float64{}
				}
				change.Values[slot] = v
			}
			amend, err := rig.Amends(c)
			if err != nil {
				return err
			}
			return amend(args[0], change)
		},
	}
	f := cmd.Flags()
	f.StringVar(&change.Do, "do", "", "add, move or retract")
	f.Uint64Var(&change.Seq, "event", 0, "number of the event to move or retract")
	f.StringVar(&kind, "kind", "", "what to add, such as shock.given")
	f.StringToStringVar(&values, "value", nil, "number that goes with it, such as dose_mg=1")
	f.StringVar(&at, "at", "", "session time, m:ss or m:ss.t")
	f.StringVar(&change.By, "by", "", "initials")
	f.StringVar(&change.Reason, "reason", "", "why")
	return cmd
}

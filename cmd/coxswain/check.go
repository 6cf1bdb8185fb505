package main

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/ready"
)

func newCheck(c *config.Config) *cobra.Command {
	var o ready.Options
	var asJSON bool
	cmd := &cobra.Command{
		Use: "check", Short: "Before use: check sound, recogniser, disk, clock, protocol and backup",
		Long: `Check everything that a session needs, print pass or fail for each, and say the
result aloud. Exit code 1 if anything failed: for a cron job in the morning.

The backup job of a site tells that it ran by touching RECORDS/.backup.`,
		Example: "  coxswain check\n  coxswain check --hours 12 --json\n" +
			"  coxswain check --no-sound      # while a session runs",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			found := ready.Check(c, o)
			failed := 0
			for _, f := range found {
				if f.Result == "fail" {
					failed++
				}
			}
			if !o.NoSound {
				found = append(found, ready.SayResult(c, failed))
				if found[len(found)-1].Result == "fail" {
					failed++
				}
			}
			if err := ready.Print(cmd.OutOrStdout(), found, asJSON, Caution); err != nil {
				return err
			}
			if failed > 0 {
				return fmt.Errorf("%d of %d checks failed", failed, len(found))
			}
			return nil
		},
	}
	f := cmd.Flags()
	f.Float64Var(&o.Hours, "hours", 8, "hours of session that the disk must hold")
	f.DurationVar(&o.BackupWithin, "backup-within", 26*time.Hour, "how old the last backup may be")
	f.BoolVar(&o.NoSound, "no-sound", false, "leave out what needs the sound device")
	f.BoolVar(&asJSON, "json", false, "as JSON")
	return cmd
}

package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/paper"
	"coxswain/timeline"
)

func newProtocol(c *config.Config) *cobra.Command {
	var asJSON bool
	var status []string
	cmd := &cobra.Command{
		Use:   "protocol [PROTOCOL [OTHER]]",
		Short: "Print what a protocol says, with source and status, or what two say differently",
		Long: `Without PROTOCOL: the one in use, with this site's overlays. With one: that one.
With two: what they say differently; OTHER may be an overlay file, laid over PROTOCOL.

status: seen (in the source's text), secondary (in a reproduction of it), memory
(a clinician must check it before use), unresolved (a clinician has to decide:
the number is never spoken).

` + Caution,
		Example: `  coxswain protocol                               # the one in use
  coxswain protocol erc-2025 --status memory,unresolved
  coxswain protocol aha-2020 aha-2025             # what changed
  coxswain protocol aha-2025 our-site.yaml        # what our overlay changes
  coxswain protocol aha-2025 --json | jq '.lines[] | select(.section == "drug")'`,
		Args: cobra.MaximumNArgs(2),
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	cmd.Flags().StringSliceVar(&status, "status", nil, "only what has one of these `statuses`")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		for _, s := range status {
			if !slices.Contains(timeline.Statuses, s) {
				return fmt.Errorf("--status %q: choose of %s", s, strings.Join(timeline.Statuses, ", "))
			}
		}
		g := c.Guideline
		if len(args) > 0 {
			g.Protocol = args[0]
		}
		p, err := g.Load()
		if err != nil {
			return err
		}
		if len(args) < 2 {
			return paper.Protocol(cmd.OutOrStdout(), p, status, asJSON, Caution)
		}
		if strings.HasSuffix(args[1], ".yaml") || strings.HasSuffix(args[1], ".yml") {
			g.Overlays = append(slices.Clone(g.Overlays), args[1])
		} else {
			g.Protocol = args[1]
		}
		other, err := g.Load()
		if err != nil {
			return err
		}
		return paper.Differences(cmd.OutOrStdout(), p, other, args, status, asJSON, Caution)
	}
	return cmd
}

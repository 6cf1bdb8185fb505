package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/timeline"
)

func newProtocol(c *config.Config) *cobra.Command {
	var asJSON bool
	var status []string
	cmd := &cobra.Command{
		Use: "protocol [PROTOCOL [OTHER]]", Short: "Print what a protocol says, with source and status, or what two say differently",
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
			return printProtocol(cmd.OutOrStdout(), p, status, asJSON)
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
		return printDifferences(cmd.OutOrStdout(), p, other, args, status, asJSON)
	}
	return cmd
}

func printProtocol(w io.Writer, p *timeline.Protocol, status []string, asJSON bool) error {
	lines := slices.DeleteFunc(p.Lines(), func(l timeline.Line) bool { return !wanted(status, l.Status) })
	if asJSON {
		return json.NewEncoder(w).Encode(map[string]any{"id": p.ID, "title": p.Title, "guideline": p.Guideline, "hash": p.Hash, "lines": lines, "caution": Caution})
	}
	fmt.Fprintf(w, "%s (%s)\n%s\n%s\n", p.Title, p.ID, p.Guideline, Caution)
	part := ""
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, l := range lines {
		if now := l.Patient + ", " + l.Section; now != part {
			tw.Flush()
			fmt.Fprintf(w, "\n%s\n", now)
			part = now
		}
		said := []string{l.Source}
		if len(l.Readings) > 0 {
			said = nil
		}
		for _, r := range l.Readings {
			said = append(said, r.Source+": "+r.Text)
		}
		fmt.Fprintf(tw, "  %s\t%s\t%s\t%s\n", l.Name, l.Text, l.Status, strings.Join(said, "\n\t\t\t"))
	}
	return tw.Flush()
}

func printDifferences(w io.Writer, a, b *timeline.Protocol, names, status []string, asJSON bool) error {
	list := slices.DeleteFunc(timeline.Compare(a, b), func(d timeline.Difference) bool {
		return !wanted(status, d.A.Status) && !wanted(status, d.B.Status)
	})
	if asJSON {
		return json.NewEncoder(w).Encode(map[string]any{"a": names[0], "b": names[1], "differences": list, "caution": Caution})
	}
	if len(list) == 0 {
		_, err := fmt.Fprintf(w, "%s and %s say the same\n", names[0], names[1])
		return err
	}
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintf(tw, "patient\twhat\t%s\t%s\n", names[0], names[1])
	for _, d := range list {
		fmt.Fprintf(tw, "%s\t%s %s\t%s\t%s\n", d.Patient, d.Section, d.Name, side(d.A), side(d.B))
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, "\n%d differences; sources: coxswain protocol %s\n%s\n", len(list), names[0], Caution)
	return err
}

// side is one column of a difference.
func side(l timeline.Line) string {
	switch {
	case l.Text == "":
		return "-"
	case l.Status == "memory":
		return l.Text + " (memory)"
	}
	return l.Text
}

func wanted(list []string, status string) bool {
	return len(list) == 0 || slices.Contains(list, status)
}

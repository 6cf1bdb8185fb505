package paper

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"coxswain/timeline"
)

// Protocol prints what a protocol says, with source and status.
func Protocol(w io.Writer, p *timeline.Protocol, status []string, asJSON bool, caution string) error {
	lines := slices.DeleteFunc(p.Lines(), func(l timeline.Line) bool { return !wanted(status, l.Status) })
	if asJSON {
		return json.NewEncoder(w).Encode(map[string]any{
			"id": p.ID, "title": p.Title, "guideline": p.Guideline, "hash": p.Hash, "lines": lines, "caution": caution,
		})
	}
	fmt.Fprintf(w, "%s (%s)\n%s\n%s\n", p.Title, p.ID, p.Guideline, caution)
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

// Differences prints where two protocols differ.
func Differences(w io.Writer, a, b *timeline.Protocol, names, status []string, asJSON bool, caution string) error {
	list := slices.DeleteFunc(timeline.Compare(a, b), func(d timeline.Difference) bool {
		return !wanted(status, d.A.Status) && !wanted(status, d.B.Status)
	})
	if asJSON {
		doc := map[string]any{"a": names[0], "b": names[1], "differences": list, "caution": caution}
		return json.NewEncoder(w).Encode(doc)
	}
	if len(list) == 0 {
		_, err := fmt.Fprintf(w, "%s and %s say the same\n", names[0], names[1])
		return err
	}
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintf(tw, "patient\twhat\t%s\t%s\n", names[0], names[1])
	for _, d := range list {
		if d.Section != "note" {
			fmt.Fprintf(tw, "%s\t%s %s\t%s\t%s\n", d.Patient, d.Section, d.Name, side(d.A), side(d.B))
		}
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	for _, d := range list { // sentences would make the columns too wide
		for i, l := range []timeline.Line{d.A, d.B} {
			if d.Section == "note" && l.Text != "" {
				fmt.Fprintf(w, "note, %s, %s: %s\n", names[i], d.Name, l.Text)
			}
		}
	}
	_, err := fmt.Fprintf(w, "\n%d differences; sources: coxswain protocol %s\n%s\n", len(list), names[0], caution)
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

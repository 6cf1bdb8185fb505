package paper

import (
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"

	"coxswain/timeline"
	"coxswain/timeline/drill"
	"coxswain/timeline/record"
)

// Score scores the record of a drill, and prints it.
func Score(w io.Writer, p *timeline.Protocol, chosen *drill.Case, dir string, asJSON bool, caution string) error {
	events, _, err := record.Read(dir)
	if err != nil {
		return err
	}
	findings := chosen.Score(p, events)
	if asJSON {
		return json.NewEncoder(w).Encode(map[string]any{
			"case": chosen.ID, "protocol": p.ID, "record": dir, "rate": timeline.Rate, "findings": findings, "caution": caution,
		})
	}
	got, of := 0, 0
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "points\tlooked for\tfound\tlisten\tsource")
	for _, f := range findings {
		got, of = got+f.Points, of+f.Of
		listen := "-"
		if f.Listen != timeline.Never {
			listen = f.Listen.String()
		}
		fmt.Fprintf(tw, "%d of %d\t%s\t%s\t%s\t%s\n", f.Points, f.Of, f.Reason, f.Found, listen, f.Source)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	if got < of {
		fmt.Fprintln(w, "\nTo do better:")
	}
	for _, f := range findings {
		if f.Points < f.Of && f.Better != "" {
			fmt.Fprintf(w, "- %s\n", f.Better)
		}
	}
	_, err = fmt.Fprintf(
		w,
		"\n%s, by %s: %d of %d points. To listen: coxswain review %s\n%s\n",
		chosen.Title,
		p.ID,
		got,
		of,
		dir,
		caution,
	)
	return err
}

package paper

import (
	"fmt"
	"io"
	"text/tabwriter"

	"coxswain/intents"
)

// CardText prints everything that can be said as a table.
func CardText(w io.Writer, v *intents.Vocabulary, caution string) error {
	fmt.Fprintln(w, "Say what was done, as it is done. … is a spoken number.")
	fmt.Fprintln(w)
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, c := range v.Callouts {
		for i, p := range c.Phrases {
			id := c.ID
			if i > 0 {
				id = ""
			}
			fmt.Fprintf(tw, "%s\t%s\n", id, Spell(v, p))
		}
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n"+caution)
	return nil
}

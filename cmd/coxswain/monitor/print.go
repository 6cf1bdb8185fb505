package monitor

import (
	"fmt"
	"io"
	"time"

	"coxswain/timeline"
)

// Print says how a session stands, for a person.
func Print(w io.Writer, n *Status) error {
	clock := func(s *float64) string {
		if s == nil {
			return "-"
		}
		return timeline.Seconds(*s).String()
	}
	fmt.Fprintf(
		w,
		"%s; session %s, code %s, cycle left %s\n",
		n.State,
		timeline.Seconds(n.Session),
		clock(n.Code),
		clock(n.CycleLeft),
	)
	for _, d := range n.Due {
		fmt.Fprintf(w, "due in %.0f s: %s\n", d.In, d.Text)
	}
	for _, l := range n.Last {
		fmt.Fprintf(w, "%.0f s ago: %s (%.0f %%)\n", l.Ago, l.Text, 100*l.Sure)
	}
	if o := n.Outbox; o != nil {
		fmt.Fprintf(w, "outbox: %d records wait, the oldest for %v; %d are in the store", o.Waiting,
			time.Duration(o.OldestS)*time.Second, o.Sent)
		if n := o.Refused + o.Unfinished; n > 0 {
			fmt.Fprintf(w, "; %d are not whole: see coxswain verify and mend", n)
		}
		if o.Failing != "" {
			fmt.Fprintf(w, "; %s", o.Failing)
			if in := time.Until(o.Next).Round(time.Second); in > 0 {
				fmt.Fprintf(w, "; tried again in %v", in)
			}
		}
		fmt.Fprintln(w)
	}
	_, err := fmt.Fprintf(
		w,
		"recogniser: %s; sound: %s; microphone %.0f dBFS; record %s, saved: %v; faults: %d\n%s\n",
		n.Recogniser,
		n.Sound,
		n.Microphone,
		n.Record,
		n.Saving,
		n.Faults,
		n.Caution,
	)
	return err
}

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
		when := fmt.Sprintf("due in %.0f s", d.In)
		if d.In < 0.5 {
			when = fmt.Sprintf("due for %.0f s", max(-d.In, 0))
		}
		fmt.Fprintf(w, "%s: %s\n", when, d.Text)
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
	for _, text := range n.Notices {
		fmt.Fprintln(w, "note:", text)
	}
	saved := fmt.Sprintf("record %s, saved: %v", n.Record, n.Saving)
	if n.Record == "" {
		saved = "no record yet"
	}
	_, err := fmt.Fprintf(w, "recogniser: %s; sound: %s; microphone %.0f dBFS; %s; faults: %d\nmetronome: %s\n%s\n",
		n.Recogniser, n.Sound, n.Microphone, saved, n.Faults, n.Beats, n.Caution)
	return err
}

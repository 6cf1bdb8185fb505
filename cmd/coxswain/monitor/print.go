package monitor

import (
	"fmt"
	"io"

	"coxswain/cmd/coxswain/session"
	"coxswain/timeline"
)

// Print says how a session stands, for a person.
func Print(w io.Writer, n *session.Snapshot) error {
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

package timeline

import (
	"fmt"
	"strings"
)

// Amendment says who changed the record afterwards, and why. The amended event
// is a new one at the end of the journal; what was called stays.
type Amendment struct {
	By     string `json:"by"`     // initials
	Reason string `json:"reason"` // in words
	Wall   string `json:"wall"`   // RFC 3339 time of the amendment
}

// AsCalled leaves out what was amended after the session.
func AsCalled(events []Event) []Event {
	var out []Event
	for _, e := range events {
		if e.Amend == nil {
			out = append(out, e)
		}
	}
	return out
}

// Change is what a reviewer asks for: Add a kind at a time, or Move or Retract
// the event Seq.
type Change struct {
	Do     string             `json:"do"` // add, move or retract
	Seq    uint64             `json:"seq,omitempty"`
	Kind   Kind               `json:"kind,omitempty"`
	At     Time               `json:"at,omitempty"`
	Values map[string]float64 `json:"values,omitempty"`
	By     string             `json:"by"`
	Reason string             `json:"reason"`
	Wall   string             `json:"wall,omitempty"`
}

// Amend returns the events to append for a change, or why it cannot be made.
func Amend(events []Event, c Change, end Time) ([]Event, error) {
	c.By, c.Reason = strings.TrimSpace(c.By), strings.TrimSpace(c.Reason)
	if c.By == "" || len(c.By) > 8 || c.Reason == "" || len(c.Reason) > 500 {
		return nil, fmt.Errorf("an amendment needs initials (up to 8 letters) and a reason")
	}
	a := &Amendment{By: c.By, Reason: c.Reason, Wall: c.Wall}
	if c.Do != "retract" && (c.At < 0 || c.At > end) {
		return nil, fmt.Errorf("time %s lies outside the record of %s", c.At, end)
	}
	if c.Do == "add" {
		if !c.Kind.IsCallout() {
			return nil, fmt.Errorf("%q is no callout", c.Kind)
		}
		return []Event{{At: c.At, Kind: c.Kind, Values: c.Values, Amend: a}}, nil
	}
	gone := Retracted(events)
	for _, e := range events {
		if e.Seq != c.Seq {
			continue
		}
		if !e.Kind.IsCallout() || gone[e.Seq] {
			return nil, fmt.Errorf("event %d (%s) is no callout that stands", e.Seq, e.Kind)
		}
		back := Event{At: e.At, Kind: Retraction, Retracts: e.Seq, Amend: a}
		switch c.Do {
		case "retract":
			return []Event{back}, nil
		case "move":
			moved := Event{At: c.At, Kind: e.Kind, Values: e.Values, Heard: e.Heard, Replaces: e.Seq, Amend: a}
			return []Event{back, moved}, nil
		}
	}
	if c.Do != "retract" && c.Do != "move" {
		return nil, fmt.Errorf("%q: choose add, move or retract", c.Do)
	}
	return nil, fmt.Errorf("there is no event %d", c.Seq)
}

// End is when a record's session ended: its close, or its last event.
func End(events []Event) Time {
	end := Time(0)
	for _, e := range events {
		if e.Kind == SessionClose && e.Amend == nil {
			return e.At
		}
		if e.Amend == nil {
			end = max(end, e.At)
		}
	}
	return end
}

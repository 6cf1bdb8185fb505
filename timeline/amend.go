package timeline

import (
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Amendment says who changed the record afterwards, and why. The amended event
// is a new one at the end of the journal; what was called stays.
type Amendment struct {
	By     string `json:"by"`     // initials
	Reason string `json:"reason"` // in words
	Wall   string `json:"wall"`   // RFC 3339 time of the amendment

	Key       string `json:"key,omitempty"`       // names the key that signed it; empty: unsigned
	Signature string `json:"signature,omitempty"` // over the event and all before it; see package record
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
// the event Seq. A move may put the event's numbers right, also at its own time.
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

// Bounds of an amendment.
const (
	maxInitials = 8
	maxReason   = 500
	maxValues   = 8
	maxKind     = 64
	maxValue    = 1e6
)

// CheckAmendment tells what keeps an event from being an amendment: a callout
// or a retraction, with initials and a reason, within bounds.
func CheckAmendment(e Event) error {
	switch a := e.Amend; {
	case a == nil:
		return fmt.Errorf("it is no amendment")
	case !oneLine(a.By, maxInitials):
		return fmt.Errorf("an amendment needs initials (up to %d letters) and a reason", maxInitials)
	case !oneLine(a.Reason, maxReason):
		return fmt.Errorf("an amendment needs initials and a reason (one line of up to %d letters)", maxReason)
	case e.Kind != Retraction && !e.Kind.IsCallout() || len(e.Kind) > maxKind || !plain(string(e.Kind)):
		return fmt.Errorf("%.64q is no callout", string(e.Kind))
	case len(e.Values) > maxValues:
		return fmt.Errorf("an amendment has %d numbers, at most %d can be", len(e.Values), maxValues)
	}
	for k, v := range e.Values {
		if len(k) > maxKind || !plain(k) || !(v >= 0 && v <= maxValue) {
			return fmt.Errorf("%.64q is %v: want a number from 0 to %v", k, v, maxValue)
		}
	}
	return nil
}

// oneLine reports whether a text is there, printable and of at most so many letters.
func oneLine(text string, most int) bool {
	return strings.TrimSpace(text) != "" && utf8.RuneCountInString(text) <= most && printable(text)
}

// printable reports whether s neither steers a terminal nor turns text around.
func printable(s string) bool {
	return utf8.ValidString(s) &&
		!strings.ContainsFunc(s, func(r rune) bool { return unicode.In(r, unicode.Cc, unicode.Bidi_Control) })
}

// plain reports whether s is spelled as kinds and slots are.
func plain(s string) bool {
	return s != "" && !strings.ContainsFunc(s, func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || strings.ContainsRune("._-", r))
	})
}

// Allowed tells what keeps a kind with these numbers from being called, so that
// amendments are held to what can be said; nil allows all within an amendment's own
// bounds.
type Allowed func(k Kind, values map[string]float64) error

// Amend returns the events to append for a change, or why it cannot be made.
func Amend(events []Event, c Change, end Time, allowed Allowed) ([]Event, error) {
	out, err := amend(events, c, end)
	for _, e := range out {
		if err == nil {
			err = CheckAmendment(e)
		}
	}
	if err == nil && allowed != nil && c.Do != "retract" && (c.Do == "add" || len(c.Values) > 0) {
		made := out[len(out)-1] // what was called and only moves was allowed when it was called
		err = allowed(made.Kind, made.Values)
	}
	if err != nil {
		return nil, err
	}
	return out, nil
}

// idle is why a kind cannot be added: it asked or told coxswain something, which changes nothing now.
func idle(k Kind) error {
	if !k.Row().Control || k == Note || k == "mark" {
		return nil
	}
	return fmt.Errorf("%s asked or told coxswain something: add what was done, or retract what was not", k)
}

func amend(events []Event, c Change, end Time) ([]Event, error) {
	a := &Amendment{By: strings.TrimSpace(c.By), Reason: strings.TrimSpace(c.Reason), Wall: c.Wall}
	if c.Do != "retract" && (c.At < 0 || c.At > end) {
		return nil, fmt.Errorf("the time lies outside the record: want 0:00.0 to %s", end)
	}
	if c.Do == "add" {
		return []Event{{At: c.At, Kind: c.Kind, Values: c.Values, Amend: a}}, idle(c.Kind)
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
			if len(c.Values) > 0 { // the numbers are put right too
				moved.Values = c.Values
			}
			return []Event{back, moved}, nil
		}
	}
	if c.Do != "retract" && c.Do != "move" {
		return nil, fmt.Errorf("%q is nothing that can be done: choose add, move or retract (--do)", c.Do)
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

// WallClock is the wall-clock time of sample 0, as session.open says it; the zero
// time if that is no date that a computer's clock could have shown.
func WallClock(events []Event) time.Time {
	if len(events) == 0 || events[0].Session == nil {
		return time.Time{}
	}
	t, err := time.Parse(time.RFC3339Nano, events[0].Session.Wall)
	if err != nil || t.UTC().Year() < 1970 || t.UTC().Year() > 2200 {
		return time.Time{}
	}
	return t
}

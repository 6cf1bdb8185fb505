package timeline

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Rate is the number of samples a second of the session clock.
const Rate = 48000

// Time is a moment on the session clock: samples of the audio stream since
// the session began, at Rate. It is the only time that a state, a cue or a
// figure may depend on.
type Time int64

// Seconds converts s seconds to session time, rounded to the nearest sample.
func Seconds(s float64) Time {
	if s < 0 {
		return -Seconds(-s)
	}
	return Time(s*Rate + 0.5)
}

// Seconds returns t in seconds.
func (t Time) Seconds() float64 { return float64(t) / Rate }

// String formats t as m:ss.t, the way a reviewer reads a code.
func (t Time) String() string {
	if t < 0 {
		return "-" + max(-t, 0).String() // the lowest of all has no opposite
	}
	tenths := (int64(t)*10 + Rate/2) / Rate
	return fmt.Sprintf("%d:%02d.%d", tenths/600, tenths/10%60, tenths%10)
}

// Clock is t to the second, as a clock shows it: m:ss.
func (t Time) Clock() string {
	secs := int64(math.Round(t.Seconds()))
	if secs < 0 {
		return "-" + max(-t, 0).Clock() // the lowest of all has no opposite
	}
	return fmt.Sprintf("%d:%02d", secs/60, secs%60)
}

// ParseTime reads what String prints: m:ss, m:ss.t or seconds.
func ParseTime(text string) (Time, error) {
	m, s, ok := strings.Cut(text, ":")
	if !ok {
		m, s = "0", text
	}
	minutes, err := strconv.ParseUint(m, 10, 16)
	seconds, serr := strconv.ParseFloat(s, 64)
	if err != nil || serr != nil || !(seconds >= 0) || seconds > 1e5 || ok && seconds >= 60 {
		return 0, fmt.Errorf("%q is no time: write 3:05 or 3:05.2", text)
	}
	return Seconds(60*float64(minutes) + seconds), nil
}

// Heard says where in the room's audio a callout was heard and how surely.
type Heard struct {
	Start      Time    `json:"start"`   // first sample of the phrase
	End        Time    `json:"end"`     // sample after the last sound of the phrase
	Decided    Time    `json:"decided"` // audio heard when it was decided
	Text       string  `json:"text"`
	Confidence float64 `json:"confidence"` // 0..1
}

// Event is one fact. It is appended and never edited: a mistake is taken back
// by a later Retraction that names its Seq.
type Event struct {
	Seq      uint64             `json:"seq"`
	At       Time               `json:"at"` // when it happened: the end of the phrase, for a callout
	Kind     Kind               `json:"kind"`
	Values   map[string]float64 `json:"values,omitempty"` // slot name to number
	Heard    *Heard             `json:"heard,omitempty"`
	Retracts uint64             `json:"retracts,omitempty"`
	Replaces uint64             `json:"replaces,omitempty"` // corrects or back-dates that event, which is retracted too
	Cue      string             `json:"cue,omitempty"`      // id of what was said, dropped, asked or warned of
	Sentence string             `json:"sentence,omitempty"` // its words
	Until    Time               `json:"until,omitempty"`    // when it fell silent; At is when it began to sound
	Cut      bool               `json:"cut,omitempty"`      // it fell silent before its end
	Text     string             `json:"text,omitempty"`     // in words: what failed, or why a cue was dropped
	Session  *Session           `json:"session,omitempty"`
	Amend    *Amendment         `json:"amend,omitempty"` // made by a reviewer afterwards

	told Time // when it was called, if it was moved back since; see standing
}

// toldLate reports whether it was called long after the moment that was claimed.
func (e Event) toldLate() bool { return e.told > e.At+rule("late_s") }

// Normalise returns an event as today's software writes it, whatever version
// of the journal's format it was read from: in the first, the Text of
// cue.spoken, cue.dropped and question begins with the cue's id.
func (e Event) Normalise() Event {
	if e.Cue != "" || e.Text == "" {
		return e
	}
	switch e.Kind {
	case CueSpoken:
		e.Cue, e.Sentence, _ = strings.Cut(e.Text, ": ")
		e.Text = ""
	case CueDropped:
		e.Cue, e.Text, _ = strings.Cut(e.Text, ": ")
	case Question:
		e.Cue, e.Text = e.Text, ""
	}
	return e
}

// Session is what the first line of a journal records once.
type Session struct {
	Wall       string `json:"wall"` // RFC 3339 time of sample 0, by this machine's clock
	Rate       int    `json:"rate"` // samples a second of every Time
	Software   string `json:"software"`
	Protocol   string `json:"protocol"`   // id and hash of the protocol data
	Vocabulary string `json:"vocabulary"` // hash of the vocabulary
	Recogniser string `json:"recogniser"`
	Source     string `json:"source"` // device, or name of the replayed file
	Caution    string `json:"caution"`
	Former     string `json:"former,omitempty"` // record of the case that ended a moment before this one began
	// Silent: nobody ended that one, nothing was heard of it for long, and until then an undo leads
	// back to it; 0: it was ended.
	Silent Time   `json:"former_silent_until,omitempty"`
	Drill  *Drill `json:"drill,omitempty"` // nil: no drill
	// Voice is the voice profile that the recogniser heard with, as its file has it; none: without.
	Voice json.RawMessage `json:"voice,omitempty"`
	Boot  *Boot           `json:"boot,omitempty"` // nil: not known
}

// Boot is a moment by the clock that a machine has run by since it was started, which nobody
// sets: it tells how long a session was cut off though the wall clock was set meanwhile.
type Boot struct {
	ID       string `json:"id"` // of that start
	UptimeMS int64  `json:"uptime_ms"`
}

// After is the moment so much later; nil if this one is.
func (b *Boot) After(d time.Duration) *Boot {
	if b == nil {
		return nil
	}
	return &Boot{b.ID, b.UptimeMS + d.Milliseconds()}
}

// Drill says that a session is practice, on an invented case.
type Drill struct {
	Case   string `json:"case"`             // id of the case
	Team   string `json:"team,omitempty"`   // as it calls itself; empty: not said
	Silent bool   `json:"silent,omitempty"` // advice was off
}

// Describe returns the event in words, for tables and logs: the same text in
// every place a reviewer meets it.
func (e Event) Describe() string {
	s := string(e.Kind)
	for _, k := range slices.Sorted(maps.Keys(e.Values)) {
		s += fmt.Sprintf(" %s=%s", k, FormatNumber(e.Values[k]))
	}
	if e.Retracts != 0 {
		s += fmt.Sprintf(" of #%d", e.Retracts)
	}
	if e.Replaces != 0 && !e.Cut {
		s += fmt.Sprintf(" instead of #%d", e.Replaces)
	}
	for _, words := range []string{e.Cue, e.Sentence, e.Text} {
		if words != "" {
			s += ": " + strings.ReplaceAll(words, "\n", " ")
		}
	}
	if e.Cut {
		s += fmt.Sprintf(" (cut off after %.1f s)", (e.Until - e.At).Seconds())
	}
	return s
}

// unsureBelow is the confidence under which a callout counts as uncertain:
// common practice, no source.
const unsureBelow = 0.75

// Unsure reports whether the event was heard with little confidence.
func (e Event) Unsure() bool { return e.Heard != nil && e.Heard.Confidence < unsureBelow }

// Early is how long before the start of the case, where the event stands, it happened by
// what was called: zero for what happened since.
func (e Event) Early() Time { return Seconds(e.Values["before_s"]) }

// Milligrams is the amount of a drug that was called; 0 if none was.
func (e Event) Milligrams() float64 {
	if g := e.Values["dose_g"]; g > 0 {
		return 1000 * g
	}
	return e.Values["dose_mg"]
}

// unitsOf are the units of spoken numbers, by the end of the slot's name.
var unitsOf = map[string]string{
	"j": "J", "mg": "mg", "g": "g", "meq": "mEq", "kg": "kg", "ml": "mL", "mmhg": "mmHg", "mmol": "mmol/L",
	"mgdl": "mg/dL", "c": "°C", "pct": "%", "y": "years", "months": "months",
}

// Words returns the event as a person reads it: "shock given, 200 J".
func (e Event) Words() string {
	s := e.Kind.Row().Words
	if e.Kind == Question {
		return s + ": " + Asked(e.Cue)
	}
	low, paired := e.Values["diastolic_mmhg"]
	for _, k := range slices.Sorted(maps.Keys(e.Values)) {
		name, unit, _ := strings.Cut(k, "_")
		full, known := unitsOf[unit]
		switch x := FormatNumber(e.Values[k]); {
		case k == "minutes" && e.Values[k] != math.Trunc(e.Values[k]):
			s += ", minutes " + Seconds(60*e.Values[k]).Clock()
		case k == "before_s":
			s += fmt.Sprintf(", %s before the start", e.Early())
		case paired && k == "systolic_mmhg": // as it is called and written: 80/40
			s += fmt.Sprintf(", %s/%s %s", x, FormatNumber(low), full)
		case paired && k == "diastolic_mmhg" && len(e.Values) > 1:
		case known:
			s += fmt.Sprintf(", %s %s", x, full)
		case strings.EqualFold(name, e.Kind.Row().Words):
			s += " " + x
		default:
			s += fmt.Sprintf(", %s %s", name, x)
		}
	}
	return s
}

// FormatNumber prints a spoken amount without needless zeros.
func FormatNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

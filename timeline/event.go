package timeline

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
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
		return "-" + (-t).String()
	}
	tenths := (int64(t)*10 + Rate/2) / Rate
	return fmt.Sprintf("%d:%02d.%d", tenths/600, tenths/10%60, tenths%10)
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

// Kind names what happened. Callout kinds are spelled as in the vocabulary.
type Kind string

// Kinds of callout events, and of the events that coxswain itself appends.
const (
	CodeStart         Kind = "code.start"
	CodeEnd           Kind = "code.end"
	CompressionsStart Kind = "compressions.start"
	CompressionsStop  Kind = "compressions.stop"
	CompressorChange  Kind = "compressor.change"
	RhythmCheck       Kind = "rhythm.check"
	RhythmVF          Kind = "rhythm.vf"
	RhythmVT          Kind = "rhythm.vt"
	RhythmPEA         Kind = "rhythm.pea"
	RhythmAsystole    Kind = "rhythm.asystole"
	RhythmOrganised   Kind = "rhythm.organised"
	PulseAbsent       Kind = "pulse.absent"
	PulsePresent      Kind = "pulse.present"
	ROSC              Kind = "rosc"
	PulseLost         Kind = "pulse.lost"
	ShockCharging     Kind = "shock.charging"
	ShockClear        Kind = "shock.clear"
	ShockGiven        Kind = "shock.given"
	CardioversionDone Kind = "cardioversion.given"
	Epinephrine       Kind = "drug.epinephrine"
	Amiodarone        Kind = "drug.amiodarone"
	Lidocaine         Kind = "drug.lidocaine"
	AirwaySecured     Kind = "airway.secured"
	AccessIV          Kind = "access.iv"
	AccessIO          Kind = "access.io"
	FluidBolus        Kind = "fluid.bolus"
	CausesReview      Kind = "causes.review"
	AskNext           Kind = "ask.next"
	AskTime           Kind = "ask.time"
	MetronomeOn       Kind = "metronome.on"
	MetronomeOff      Kind = "metronome.off"
	Undo              Kind = "undo"
	Note              Kind = "note"

	PatientAdult       Kind = "patient.adult"
	PatientChild       Kind = "patient.child"
	PatientInfant      Kind = "patient.infant"
	PatientPregnant    Kind = "patient.pregnant"
	PatientHypothermic Kind = "patient.hypothermic"
	PatientOpioid      Kind = "patient.opioid"
	PatientWeight      Kind = "patient.weight"
	PatientAge         Kind = "patient.age"
	PatientAgeMonths   Kind = "patient.age.months"
	PatientStable      Kind = "patient.stable"
	PatientUnstable    Kind = "patient.unstable"
	RhythmTorsades     Kind = "rhythm.torsades"
	RhythmSVT          Kind = "rhythm.svt"
	RhythmAF           Kind = "rhythm.af"
	RhythmBrady        Kind = "rhythm.bradycardia"
	AskCauses          Kind = "ask.causes"
	AskSummary         Kind = "ask.summary"
	CorrectEnergy      Kind = "correct.energy"
	Backdate           Kind = "backdate"
	SayAgain           Kind = "say.again"
	Quiet              Kind = "quiet"
	Loud               Kind = "loud"
	Confirm            Kind = "confirm"
	Death              Kind = "death"
	TeamArrived        Kind = "team.arrived"
	TeamHandover       Kind = "team.handover"
	Mark               Kind = "mark"

	SessionOpen  Kind = "session.open"  // first line: wall-clock anchor, versions
	SessionClose Kind = "session.close" // clean end
	CueSpoken    Kind = "cue.spoken"    // a prompt began to sound
	CueDropped   Kind = "cue.dropped"   // a prompt was too late to be worth saying
	Retraction   Kind = "retraction"    // takes back the event named by Retracts
	Question     Kind = "question"      // a contradiction was asked about, never blocked
	Fault        Kind = "fault"         // something failed; the session went on
	Recovered    Kind = "recovered"     // and came back
)

// Callouts lists the kinds that a team can call aloud, in the card's order.
var Callouts = []Kind{
	CodeStart, CodeEnd, CompressionsStart, CompressionsStop, CompressorChange, RhythmCheck, RhythmVF, RhythmVT,
	RhythmPEA, RhythmAsystole, RhythmOrganised, PulseAbsent, PulsePresent, ROSC, PulseLost, ShockCharging, ShockClear,
	ShockGiven, CardioversionDone, Epinephrine, Amiodarone, Lidocaine, AirwaySecured, AccessIV, AccessIO, FluidBolus,
	CausesReview, AskNext, AskTime, MetronomeOn, MetronomeOff, Undo, Note,
	PatientAdult, PatientChild, PatientInfant, PatientPregnant, PatientHypothermic, PatientOpioid, PatientWeight, PatientAge,
	PatientAgeMonths, PatientStable, PatientUnstable, RhythmTorsades, RhythmSVT, RhythmAF, RhythmBrady,
	AskCauses, AskSummary, CorrectEnergy, Backdate, SayAgain, Quiet, Loud, Confirm, Death, TeamArrived, TeamHandover, Mark,
}

// families are kinds of which a vocabulary may hold any number: the part after
// the family names the drug, the cause or what was done.
var families = []string{"drug.", "ask.dose.", "correct.drug.", "cause.considered.", "cause.treated.", "cause.excluded.", "intervention."}

var isCallout = func() map[Kind]bool {
	m := map[Kind]bool{}
	for _, c := range Callouts {
		m[c] = true
	}
	return m
}()

// IsCallout reports whether k is a kind that a team can call aloud.
func (k Kind) IsCallout() bool {
	if isCallout[k] {
		return true
	}
	_, _, ok := k.family()
	return ok
}

// family splits a kind into its family and what it names in it.
func (k Kind) family() (family, name string, ok bool) {
	for _, f := range families {
		if name, ok := strings.CutPrefix(string(k), f); ok && name != "" {
			return f, name, true
		}
	}
	return "", "", false
}

// Drug returns the drug that a dose event names.
func (k Kind) Drug() (string, bool) {
	f, name, ok := k.family()
	return name, ok && f == "drug."
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
	Text     string             `json:"text,omitempty"`     // what was said, or what failed
	Session  *Session           `json:"session,omitempty"`
	Amend    *Amendment         `json:"amend,omitempty"` // made by a reviewer afterwards
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
	if e.Replaces != 0 {
		s += fmt.Sprintf(" instead of #%d", e.Replaces)
	}
	if e.Text != "" {
		s += ": " + strings.ReplaceAll(e.Text, "\n", " ")
	}
	return s
}

// Words returns the event as a person reads it: "shock given, 200 J".
func (e Event) Words() string {
	s := string(e.Kind)
	for _, f := range []string{"drug.", "intervention.", "rhythm."} {
		if rest, ok := strings.CutPrefix(s, f); ok && e.Kind != RhythmCheck {
			s = rest
		}
	}
	s = strings.NewReplacer(".", " ", "_", " ").Replace(s)
	for _, short := range []string{"vf", "vt", "pea", "svt", "af", "iv", "io", "rosc", "ecg"} {
		if head, ok := strings.CutSuffix(s, short); ok && (head == "" || strings.HasSuffix(head, " ")) {
			s = head + strings.ToUpper(short)
		}
	}
	for _, k := range slices.Sorted(maps.Keys(e.Values)) {
		name, unit, _ := strings.Cut(k, "_")
		if full, ok := map[string]string{"j": "J", "mg": "mg", "kg": "kg", "ml": "mL"}[unit]; ok {
			s += fmt.Sprintf(", %s %s", FormatNumber(e.Values[k]), full)
		} else {
			s += fmt.Sprintf(", %s %s", name, FormatNumber(e.Values[k]))
		}
	}
	return s
}

// FormatNumber prints a spoken amount without needless zeros.
func FormatNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

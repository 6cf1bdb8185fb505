package timeline

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"
)

// Kind names what happened: a row of kinds.yaml. Callout kinds are spelled as
// in the vocabulary.
type Kind string

// Kinds that code tells apart. All others are known by their rows alone.
const (
	CodeStart         Kind = "code.start"
	CodeEnd           Kind = "code.end"
	CompressionsStart Kind = "compressions.start"
	CompressionsStop  Kind = "compressions.stop"
	CompressionsOff   Kind = "compressions.off" // from an end that was called and taken back
	CaseSilent        Kind = "case.silent"      // nothing was called for long, and nobody answered
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
	Glucose           Kind = "measured.glucose"
	AirwaySecured     Kind = "airway.secured"
	AccessIV          Kind = "access.iv"
	AccessIO          Kind = "access.io"
	AirwayLost        Kind = "airway.lost"
	AccessLost        Kind = "access.lost" // of whatever stood
	ECMOStopped       Kind = "ecmo.stopped"
	Refuse            Kind = "refuse" // no to what waits for a yes
	ShockDumped       Kind = "shock.dumped"
	BreathingAbsent   Kind = "breathing.absent"
	BreathingBack     Kind = "breathing.back"
	FluidBolus        Kind = "fluid.bolus"
	CausesReview      Kind = "causes.review"
	AskNext           Kind = "ask.next"
	AskTime           Kind = "ask.time"
	AskCauses         Kind = "ask.causes"
	AskSummary        Kind = "ask.summary"
	AskBasis          Kind = "ask.basis"
	AskMissing        Kind = "ask.missing"
	AskShocks         Kind = "ask.shocks"
	ShockStacked      Kind = "shock.stacked"
	RoundStart        Kind = "round.start"
	BeatRate          Kind = "metronome.rate"
	BeatFaster        Kind = "metronome.faster"
	BeatSlower        Kind = "metronome.slower"
	BeatRatio         Kind = "metronome.ratio"
	BeatContinuous    Kind = "metronome.continuous"
	BreathsOn         Kind = "breaths.on"
	BreathsOff        Kind = "breaths.off"
	MetronomeOn       Kind = "metronome.on"
	MetronomeOff      Kind = "metronome.off"
	Note              Kind = "note"
	Undo              Kind = "undo"
	CorrectEnergy     Kind = "correct.energy"
	Backdate          Kind = "backdate"
	SayAgain          Kind = "say.again"
	Quiet             Kind = "quiet"
	Loud              Kind = "loud"
	Confirm           Kind = "confirm"
	Death             Kind = "death"
	ToldDown          Kind = "told.down" // how long, as told

	PatientNext        Kind = "patient.next"
	PatientAdult       Kind = "patient.adult"
	PatientChild       Kind = "patient.child"
	PatientInfant      Kind = "patient.infant"
	PatientPregnant    Kind = "patient.pregnant"
	PatientHypothermic Kind = "patient.hypothermic"
	PatientOpioid      Kind = "patient.opioid"
	PatientAnaphylaxis Kind = "patient.anaphylaxis"
	PatientDrowned     Kind = "patient.drowned"
	PatientNewborn     Kind = "patient.newborn"
	PatientWeight      Kind = "patient.weight"
	PatientAge         Kind = "patient.age"
	PatientAgeMonths   Kind = "patient.age.months"
	PatientStable      Kind = "patient.stable"
	PatientUnstable    Kind = "patient.unstable"

	SessionOpen  Kind = "session.open"  // first line: wall-clock anchor, versions
	SessionClose Kind = "session.close" // clean end
	CueSpoken    Kind = "cue.spoken"    // a prompt sounded
	CueDropped   Kind = "cue.dropped"   // a prompt was too late to be worth saying
	Retraction   Kind = "retraction"    // takes back the event named by Retracts
	Question     Kind = "question"      // a contradiction was asked about, never blocked
	Fault        Kind = "fault"         // something failed; the session went on
	Recovered    Kind = "recovered"     // and came back
)

// Row is what kinds.yaml says of a kind; its head tells the columns.
type Row struct {
	Words     string          `yaml:"words"`
	Spoken    string          `yaml:"spoken"`
	Starts    bool            `yaml:"starts"`
	Arrest    bool            `yaml:"arrest"`
	Confirm   bool            `yaml:"confirm"`
	Control   bool            `yaml:"control"`
	Own       bool            `yaml:"own"`
	Rhythm    Rhythm          `yaml:"rhythm"`
	Shockable bool            `yaml:"shockable"` // without a pulse, a shock is the treatment
	Fast      bool            `yaml:"fast"`      // with a pulse, it is a tachycardia
	Pulseless bool            `yaml:"pulseless"` // it has no pulse
	Lane      string          `yaml:"lane"`
	FHIR      string          `yaml:"fhir"`
	Code      Code            `yaml:"code"`
	Category  string          `yaml:"category"` // of FHIR R4 (observation-category): vital-signs or laboratory
	Parts     map[string]Code `yaml:"parts"`    // codes of a measurement's numbers, by slot, if it has two
	Unit      string          `yaml:"unit"`
	Utstein   string          `yaml:"utstein"`
	Named     bool            `yaml:"named"`
	Reads     string          `yaml:"reads"`
	Treats    string          `yaml:"treats"` // the reversible cause that it treats

	family, name string
}

// Code is a kind's code in an open code system; the zero Code is none.
type Code struct {
	System string `yaml:"system"` // a name in the table's systems; the table's reader makes it the URI
	Code   string `yaml:"code"`
	Text   string `yaml:"text"`
	Status string `yaml:"status"` // seen, secondary or memory
}

// kindTable is kinds.yaml, read.
type kindTable struct {
	rows     map[Kind]Row
	families map[string]Row // by what their kinds begin with: "drug."
	callouts []Kind
	rhythms  map[Rhythm]Kind
	next     map[string]string // what answers "what is next", by the id of a cue of the agenda
	asked    map[string]string // what a question is about, by the id of its cue
}

//go:embed kinds.yaml
var kindsFile []byte

// kinds is the table; that it is well formed is tested, so no session can meet
// a broken one.
var kinds = func() kindTable {
	t, err := parseKinds("kinds.yaml", kindsFile)
	if err != nil {
		panic(err)
	}
	return t
}()

// Callouts lists the kinds that a team can call aloud and that have a row of
// their own, in the table's order.
var Callouts = kinds.callouts

// parseKinds reads a table of kinds; errors name file and line.
func parseKinds(name string, text []byte) (kindTable, error) {
	var doc struct {
		Systems map[string]struct{ Name, URI string } `yaml:"systems"`
		Kinds   map[string]Row                        `yaml:"kinds"`
		Asked   map[string]string                     `yaml:"questions"`
		Next    map[string]string                     `yaml:"next"`
	}
	t := kindTable{rows: map[Kind]Row{}, families: map[string]Row{}, rhythms: map[Rhythm]Kind{}}
	if err := DecodeStrict(name, text, &doc); err != nil {
		return t, err
	}
	t.asked, t.next = doc.Asked, doc.Next
	order, err := keysOf(text, "kinds")
	if err != nil {
		return t, fmt.Errorf("%s: %w", name, err)
	}
	for _, key := range order {
		r := doc.Kinds[key.Value]
		if r.Code.System != "" {
			r.Code.System = doc.Systems[r.Code.System].URI
		}
		for slot, c := range r.Parts {
			c.System = doc.Systems[c.System].URI
			r.Parts[slot] = c
		}
		if why := r.wrong(); why != "" {
			return t, fmt.Errorf("%s:%d: kind %s: %s", name, key.Line, key.Value, why)
		}
		t.add(key.Value, r)
	}
	return t, nil
}

// wrong says what a row lacks or gives that no column allows; empty: nothing.
func (r Row) wrong() string {
	for _, c := range []struct{ column, value, choose string }{
		{"lane", r.Lane, "rhythm, shock, drug or other"},
		{"fhir", r.FHIR, "procedure, observation, measurement or medication"},
		{"category", r.Category, "vital-signs or laboratory"},
	} {
		choices := strings.Fields(strings.NewReplacer(",", "", " or ", " ").Replace(c.choose))
		if c.value != "" && !slices.Contains(choices, c.value) {
			return c.column + ": choose " + c.choose
		}
	}
	switch {
	case r.Rhythm == "" && (r.Shockable || r.Fast || r.Pulseless):
		return "shockable, fast and pulseless belong to a rhythm"
	case r.Own && (r.Starts || r.Control || r.Confirm || r.Lane != ""):
		return "what coxswain appends itself is no callout"
	}
	return r.Code.wrong()
}

// wrong says what is wrong with a code, if one is given.
func (c Code) wrong() string {
	switch {
	case c == Code{}:
		return ""
	case c.System == "" || c.Code == "" || c.Text == "":
		return "code: want a system of the list, code and text"
	case !slices.Contains([]string{"seen", "secondary", "memory"}, c.Status):
		return "code: status is seen, secondary or memory"
	}
	return ""
}

// add puts a row into the table, over what its family says.
func (t *kindTable) add(key string, r Row) {
	if family, ok := strings.CutSuffix(key, "."); ok {
		t.families[family+"."] = r
		return
	}
	for f, all := range t.families {
		if name, ok := strings.CutPrefix(key, f); ok {
			r.family, r.name, r.Named, r.Reads = f, name, all.Named, all.Reads
			r.Control = r.Control || all.Control
			r.Lane, r.FHIR = or(r.Lane, all.Lane), or(r.FHIR, all.FHIR)
		}
	}
	r.naming(key)
	t.rows[Kind(key)] = r
	if !r.Own {
		t.callouts = append(t.callouts, Kind(key))
	}
	if r.Rhythm != "" {
		t.rhythms[r.Rhythm] = Kind(key)
	}
}

// naming fills in the default names of the kind that the row is of.
func (r *Row) naming(kind string) {
	words := kind
	if r.Named || r.Reads != "" {
		words = strings.TrimSpace(r.Reads + " " + r.name)
	}
	r.Words = or(r.Words, plainWords(words))
	r.Spoken = or(r.Spoken, or(plainWords(r.name), r.Words))
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func plainWords(s string) string { return strings.NewReplacer(".", " ", "_", " ").Replace(s) }

// Row returns what the table says of k. A kind of a family without a row of
// its own (a site's drug) is known by its family; any other gets its own name
// for words and nothing else.
func (k Kind) Row() Row {
	if r, ok := kinds.rows[k]; ok {
		return r
	}
	for f, r := range kinds.families {
		if name, ok := strings.CutPrefix(string(k), f); ok && name != "" {
			r.family, r.name = f, name
			r.naming(string(k))
			return r
		}
	}
	var r Row
	r.naming(string(k))
	return r
}

// Asked is what a question is about, in words, by the id of its cue; one that the
// table does not know keeps its id.
func Asked(cue string) string { return or(kinds.asked[cue], cue) }

// IsCallout reports whether k is a kind that a team can call aloud.
func (k Kind) IsCallout() bool {
	if r, ok := kinds.rows[k]; ok {
		return !r.Own
	}
	return k.Row().family != ""
}

// Family splits a kind into its family ("drug.") and what it names in it; both
// are empty for a kind of no family.
func (k Kind) Family() (family, name string) {
	r := k.Row()
	return r.family, r.name
}

// Drug returns the drug that a dose event names.
func (k Kind) Drug() (string, bool) {
	f, name := k.Family()
	return name, f == "drug."
}

package timeline

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"path"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

//go:embed protocols/*.yaml
var protocols embed.FS

//go:embed common.yaml
var commonFile []byte

// Value is one number of a guideline with its source.
type Value struct {
	Value    float64   `yaml:"value"`
	Unit     string    `yaml:"unit"`
	Source   string    `yaml:"source"`
	Status   string    `yaml:"status"`   // seen, secondary, memory or unresolved
	None     bool      `yaml:"none"`     // the guideline sets no such limit
	Readings []Reading `yaml:"readings"` // of an unresolved one; its Value, if any, is never spoken
}

// Protocol is one guideline's numbers, for adults; Variants change them for
// other patients. All lengths of time are session time.
type Protocol struct {
	ID              string              `yaml:"id"`
	Title           string              `yaml:"title"`
	Guideline       string              `yaml:"guideline"`
	Year            int                 `yaml:"year"`
	Values          map[string]Value    `yaml:"values"`
	Drugs           map[string]Drug     `yaml:"drugs"`
	Antiarrhythmics []string            `yaml:"antiarrhythmics"`   // drugs, in the order of their doses
	Shocks          []Amount            `yaml:"shocks"`            // J, in order; the last one repeats
	Monophasic      []Amount            `yaml:"shocks_monophasic"` // instead of Shocks, for adults, with such a device
	Sync            map[string][]Amount `yaml:"sync"`              // J of synchronised shocks, by rhythm
	Polymorphic     []Amount            `yaml:"polymorphic"`       // J, unsynchronised, with a pulse; empty: as Shocks
	AlwaysUnstable  []Rhythm            `yaml:"always_unstable"`   // with a pulse, whatever was called
	StableVT        []string            `yaml:"stable_vt"`         // what to consider, in order: cardioversion, a drug
	Bradycardia     []string            `yaml:"bradycardia"`       // unstable, what to do in order: see bradySteps
	Causes          []string            `yaml:"causes"`
	Measured        map[string]Range    `yaml:"measured"`    // what is expected of a number that is called, by its name
	Doubtful        []Doubt             `yaml:"doubtful"`    // drugs that are asked about
	AskedAbove      map[string]Bound    `yaml:"asked_above"` // amounts of drugs that it gives no dose of
	Round           []Kind              `yaml:"round"`       // what the first minute with a pulse holds
	EnergySteps     Steps               `yaml:"energy_steps"`
	DrawUp          []Syringe           `yaml:"draw_up"` // how finely a dose can be drawn up, small volumes first
	WeightRule      string              `yaml:"weight_rule"`
	Words           string              `yaml:"words"` // a set of words in prompts/cues.yaml; empty: the American ones
	Notes           map[string]Remark   `yaml:"notes"` // for people; no code reads them
	Variants        map[string]Variant  `yaml:"variants"`
	Hash            string              `yaml:"-"` // SHA-256 of all files it was made of
	forms           map[string]*Protocol
	guessed         bool // the form of a patient whose weight is only estimated
}

// Variant is what a protocol changes for a kind of patient: what it names
// replaces what the adult has.
type Variant struct {
	Values     map[string]Value    `yaml:"values"`
	Drugs      map[string]Drug     `yaml:"drugs"`
	Shocks     []Amount            `yaml:"shocks"`
	Sync       map[string][]Amount `yaml:"sync"`
	Causes     []string            `yaml:"causes"`
	Brady      []string            `yaml:"bradycardia"`
	WeightRule string              `yaml:"weight_rule"`
}

// DefaultProtocol is the protocol that holds if none is chosen.
const DefaultProtocol = "aha-2025"

// Protocols lists the ids of the built-in protocols.
func Protocols() []string {
	list, _ := protocols.ReadDir("protocols") // sorted
	var out []string
	for _, f := range list {
		out = append(out, strings.TrimSuffix(f.Name(), ".yaml"))
	}
	return out
}

// LoadProtocol returns the built-in protocol id with the overlay files laid
// over it in turn. Errors name file and line.
func LoadProtocol(id string, overlays ...Source) (*Protocol, error) {
	b, err := protocols.ReadFile(path.Join("protocols", id+".yaml"))
	if err != nil {
		return nil, fmt.Errorf("no protocol %q: choose one of %s", id, strings.Join(Protocols(), ", "))
	}
	p := &Protocol{}
	sum := sha256.New()
	for _, s := range append([]Source{{"common.yaml", commonFile}, {id + ".yaml", b}}, overlays...) {
		sum.Write(s.Text)
		if err := p.merge(s); err != nil {
			return nil, err
		}
	}
	p.Hash = hex.EncodeToString(sum.Sum(nil))
	return p, p.shape(id)
}

// Source is a data file and the name it goes by in errors.
type Source struct {
	Name string
	Text []byte
}

// merge lays one file over p: values one by one, lists as a whole.
func (p *Protocol) merge(s Source) error {
	var root yaml.Node
	if err := yaml.Unmarshal(s.Text, &root); err != nil {
		return yamlError(s.Name, err)
	}
	var q Protocol
	if err := DecodeStrict(s.Name, s.Text, &q); err != nil {
		return err
	}
	if err := checkValues(s.Name, &root, q.Values); err != nil {
		return err
	}
	shocks := slices.Concat(q.Shocks, q.Monophasic, q.Polymorphic)
	for _, err := range []error{
		checkUnits(s.Name, &root, p.Values, q.Values), checkAmounts(s.Name, &root, q.Drugs, shocks, q.Sync),
		p.checkDoses(s.Name, &root, q.Drugs, ""), checkMeasured(s.Name, &root, q.Measured),
		checkDoubtful(s.Name, &root, q.Doubtful), checkNotes(s.Name, &root, q.Notes),
		checkAskedAbove(s.Name, &root, q.AskedAbove), checkSteps(s.Name, &root, q),
		p.checkEnergies(s.Name, &root, q.Sync, q.Shocks, q.Monophasic, q.Polymorphic), p.checkNames(s.Name, &root, q),
	} {
		if err != nil {
			return err
		}
	}
	for name, v := range q.Variants {
		if !patients[name] {
			line := lineOf(&root, "variants", name)
			return fmt.Errorf("%s:%d: no kind of patient %q: choose child, infant or hypothermic", s.Name, line, name)
		}
		part := child(&root, "variants", name)
		if err := checkValues(s.Name, part, v.Values); err != nil {
			return fmt.Errorf("%w (variant %s)", err, name)
		}
		if err := checkUnits(s.Name, part, laid(p.Values, q.Values), v.Values); err != nil {
			return fmt.Errorf("%w (variant %s)", err, name)
		}
		if err := checkAmounts(s.Name, part, v.Drugs, v.Shocks, v.Sync); err != nil {
			return fmt.Errorf("%w (variant %s)", err, name)
		}
		if err := p.checkDoses(s.Name, part, v.Drugs, name); err != nil {
			return fmt.Errorf("%w (variant %s)", err, name)
		}
		if err := p.checkEnergies(s.Name, part, v.Sync, v.Shocks); err != nil {
			return fmt.Errorf("%w (variant %s)", err, name)
		}
	}
	p.overlay(q)
	return nil
}

// For returns the protocol for the patient that the state tells of.
func (p *Protocol) For(s State) *Protocol {
	key := p.patient(s)
	if p.hypothermic(s) {
		key += " hypothermic"
	}
	q := p.forms[key]
	if q == nil {
		return p
	}
	if _, basis := q.Weight(s); strings.HasPrefix(basis, estimatedFrom) {
		return p.forms[key+" estimated"]
	}
	return q
}

// SetWaveform chooses the energies of the defibrillator's waveform: "biphasic"
// or "monophasic".
func (p *Protocol) SetWaveform(name string) error {
	switch {
	case name == "biphasic":
		return nil
	case name != "monophasic":
		return fmt.Errorf("waveform is %q: choose biphasic or monophasic", name)
	case len(p.Monophasic) == 0:
		return fmt.Errorf("protocol %s has no monophasic energies: give shocks_monophasic in an overlay", p.ID)
	}
	p.Shocks = p.Monophasic
	return p.shape(p.ID)
}

// patient is the kind of patient as called, or else as the age tells or, without
// one, the weight: of a small patient nobody takes the adult's amounts unless an
// adult was called.
func (p *Protocol) patient(s State) string {
	switch {
	case s.Patient == "adult":
		return ""
	case s.Patient != "":
		return s.Patient
	case s.AgeMonths > 0 && s.AgeMonths < p.Get("infant_below_months"):
		return "infant"
	case s.AgeMonths > 0 && s.AgeMonths < 12*p.Get("child_below_years"):
		return "child"
	case s.AgeMonths == 0 && s.WeightKg > 0 && s.WeightKg < p.Get("child_below_kg"):
		return "child"
	}
	return ""
}

// estimatedFrom begins the basis of a weight that nobody called.
const estimatedFrom = "estimated: "

// Weight is the patient's weight in kg, as called or else estimated from the age,
// and what it rests on; 0 if neither is known, or if the one that was called cannot
// be and nobody has said it twice.
func (p *Protocol) Weight(s State) (kg float64, basis string) {
	switch {
	case s.WeightKg > 0 && !s.weightSure && !p.believable(s): // asked about; until that is answered no dose rests on it
		return 0, ""
	case s.WeightKg > 0:
		return s.WeightKg, "called"
	}
	if s.AgeMonths > 0 {
		if kg, source, err := EstimateWeight(p.WeightRule, s.AgeMonths); err == nil {
			return kg, estimatedFrom + source
		}
	}
	return 0, ""
}

// shape makes the protocol's forms, one for each kind of patient.
func (p *Protocol) shape(name string) error {
	forms := map[string]*Protocol{}
	for _, patient := range []string{"", "child", "infant"} {
		for _, cold := range []string{"", " hypothermic"} {
			q := *p
			layers := []string{patient, strings.TrimSpace(cold)}
			if patient == "infant" { // an infant is a child, but for what its own variant says
				layers = append([]string{"child"}, layers...)
			}
			if patient != "" {
				q = q.withoutAdultAmounts()
			}
			for _, v := range layers {
				q.overlay(p.Variants[v].protocol())
			}
			if err := q.check(strings.TrimSpace(name + " " + patient + cold)); err != nil {
				return err
			}
			estimated := q
			estimated.guessed = true
			forms[patient+cold], forms[patient+cold+" estimated"] = &q, &estimated
		}
	}
	p.forms = forms
	return nil
}

// withoutAdultAmounts returns p with every dose and energy left open: what its
// child's variant does not give, nobody may take from the adult.
func (p Protocol) withoutAdultAmounts() Protocol {
	none := Reading{Text: "this protocol gives none for a child", Source: p.ID}
	open := []Amount{{Status: Unresolved, Readings: []Reading{none}}}
	drugs, sync := map[string]Drug{}, map[string][]Amount{}
	for name := range p.Drugs {
		drugs[name] = Drug{Doses: open}
	}
	for rhythm := range p.Sync {
		sync[rhythm] = open
	}
	p.Drugs, p.Sync, p.Shocks = drugs, sync, open
	p.Polymorphic = nil // as Shocks
	return p
}

func (v Variant) protocol() Protocol {
	return Protocol{Values: v.Values, Drugs: v.Drugs, Shocks: v.Shocks, Sync: v.Sync, Causes: v.Causes,
		Bradycardia: v.Brady, WeightRule: v.WeightRule}
}

// instead puts a list in the place of another, if it is given.
func instead[T any](list *[]T, over []T) {
	if over != nil {
		*list = over
	}
}

func (p *Protocol) overlay(q Protocol) {
	for _, f := range []struct{ to, from *string }{
		{&p.ID, &q.ID}, {&p.Title, &q.Title}, {&p.Guideline, &q.Guideline}, {&p.Words, &q.Words},
	} {
		if *f.from != "" {
			*f.to = *f.from
		}
	}
	if q.Year != 0 {
		p.Year = q.Year
	}
	if q.WeightRule != "" {
		p.WeightRule = q.WeightRule
	}
	p.Values = laid(p.Values, q.Values)
	p.Drugs = laid(p.Drugs, q.Drugs)
	p.Sync = laid(p.Sync, q.Sync)
	p.Variants = laid(p.Variants, q.Variants)
	p.Notes = laid(p.Notes, q.Notes)
	p.Measured = laid(p.Measured, q.Measured)
	p.AskedAbove = laid(p.AskedAbove, q.AskedAbove)
	instead(&p.Polymorphic, q.Polymorphic)
	instead(&p.AlwaysUnstable, q.AlwaysUnstable)
	instead(&p.StableVT, q.StableVT)
	instead(&p.Bradycardia, q.Bradycardia)
	instead(&p.Antiarrhythmics, q.Antiarrhythmics)
	instead(&p.Shocks, q.Shocks)
	instead(&p.Monophasic, q.Monophasic)
	instead(&p.Doubtful, q.Doubtful)
	instead(&p.Round, q.Round)
	instead(&p.DrawUp, q.DrawUp)
	if len(q.EnergySteps.Joules) > 0 {
		p.EnergySteps = q.EnergySteps
	}
	instead(&p.Causes, q.Causes)
}

// laid returns a new map: b over a.
func laid[V any](a, b map[string]V) map[string]V {
	out := map[string]V{}
	for k, v := range a {
		out[k] = v
	}
	for k, v := range b {
		out[k] = v
	}
	return out
}

// Get returns a value by name; every name in bounds is present after loading.
func (p *Protocol) Get(name string) float64 { return p.Values[name].Value }

// Span returns a value given in seconds as session time.
func (p *Protocol) Span(name string) Time { return Seconds(p.Get(name)) }

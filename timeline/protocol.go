package timeline

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"

	"go.yaml.in/yaml/v3"
)

//go:embed protocols/*.yaml
var protocols embed.FS

// Value is one number of a guideline with its source.
type Value struct {
	Value  float64 `yaml:"value"`
	Unit   string  `yaml:"unit"`
	Source string  `yaml:"source"`
	Status string  `yaml:"status"` // seen, secondary or memory
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
	Causes          []string            `yaml:"causes"`
	WeightRule      string              `yaml:"weight_rule"`
	Variants        map[string]Variant  `yaml:"variants"`
	Hash            string              `yaml:"-"` // SHA-256 of all files it was made of
	forms           map[string]*Protocol
}

// Variant is what a protocol changes for a kind of patient: what it names
// replaces what the adult has.
type Variant struct {
	Values     map[string]Value    `yaml:"values"`
	Drugs      map[string]Drug     `yaml:"drugs"`
	Shocks     []Amount            `yaml:"shocks"`
	Sync       map[string][]Amount `yaml:"sync"`
	Causes     []string            `yaml:"causes"`
	WeightRule string              `yaml:"weight_rule"`
}

type bound struct{ min, max float64 }

// bounds holds every value a protocol must give, and what a site may set it
// to: wide enough for every published guideline, narrow enough for a typo.
var bounds = map[string]bound{
	"compression_rate_min": {80, 130}, "compression_rate_max": {80, 130},
	"cycle_s": {60, 300}, "cycle_warning_s": {5, 45},
	"ratio_compressions": {3, 30}, "ratio_breaths": {1, 2}, "breaths_pause_s": {2, 6}, "ventilation_s": {2, 10},
	"pause_warning_s": {3, 10}, "pause_limit_s": {5, 20},
	"epinephrine_due_s": {120, 360}, "epinephrine_overdue_s": {120, 600}, "epinephrine_after_shock": {0, 5},
	"sustained_rosc_s": {30, 3600}, "epinephrine_nonshockable_s": {0, 300}, "refractory_shocks": {2, 6},
	"atropine_interval_s": {60, 600}, "pulse_recheck_s": {30, 600},
	"rosc_spo2_min": {85, 100}, "rosc_spo2_max": {90, 100}, "rosc_pressure_mmhg": {50, 100}, "rosc_ventilation_s": {2, 10},
	"rosc_temperature_min": {30, 38}, "rosc_temperature_max": {32, 38}, "delivery_s": {60, 600},
	"infant_below_months": {6, 24}, "child_below_years": {8, 18}, "amiodarone_infusion_min": {5, 60}, "adenosine_interval_s": {30, 300},
	"brady_epinephrine_min": {1, 10}, "brady_epinephrine_max": {2, 20}, "amiodarone_after_mg_min": {0.3, 2},
}

// Upper bounds of what a site may write as a dose (mg) or an energy (J).
const (
	maxDose   = 100_000
	maxJoules = 360
)

// Protocols lists the ids of the built-in protocols.
func Protocols() []string { return ids(protocols, "protocols") }

// ids lists the YAML files of an embedded folder, by name.
func ids(files embed.FS, dir string) []string {
	list, _ := files.ReadDir(dir) // sorted
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
	for _, s := range append([]Source{{id + ".yaml", b}}, overlays...) {
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
		return fmt.Errorf("%s: %s", s.Name, yamlError(err))
	}
	var q Protocol
	d := yaml.NewDecoder(bytes.NewReader(s.Text))
	d.KnownFields(true)
	if err := d.Decode(&q); err != nil {
		if errors.Is(err, io.EOF) {
			return fmt.Errorf("%s:1: the file is empty", s.Name)
		}
		return fmt.Errorf("%s: %s", s.Name, yamlError(err))
	}
	if err := checkValues(s.Name, &root, q.Values); err != nil {
		return err
	}
	if err := checkAmounts(s.Name, &root, q.Drugs, append(q.Shocks, q.Monophasic...), q.Sync); err != nil {
		return err
	}
	for name, v := range q.Variants {
		if !patients[name] {
			return fmt.Errorf("%s:%d: no kind of patient %q: choose child, infant or hypothermic", s.Name, lineOf(&root, "variants", name), name)
		}
		if err := checkValues(s.Name, &root, v.Values); err != nil {
			return fmt.Errorf("%w (variant %s)", err, name)
		}
		if err := checkAmounts(s.Name, &root, v.Drugs, v.Shocks, v.Sync); err != nil {
			return fmt.Errorf("%w (variant %s)", err, name)
		}
	}
	p.overlay(q)
	return nil
}

// patients are the kinds of patient that a protocol may change values for.
var patients = map[string]bool{"child": true, "infant": true, "hypothermic": true}

func checkValues(file string, root *yaml.Node, values map[string]Value) error {
	for name, v := range values {
		at := fmt.Sprintf("%s:%d", file, lineOf(root, "values", name))
		b, ok := bounds[name]
		switch {
		case !ok:
			return fmt.Errorf("%s: unknown value %q", at, name)
		case !(v.Value >= b.min && v.Value <= b.max):
			return fmt.Errorf("%s: %s is %s, allowed are %s to %s", at, name, FormatNumber(v.Value), FormatNumber(b.min), FormatNumber(b.max))
		case v.Source == "":
			return fmt.Errorf("%s: %s has no source: add source: \"guideline, year, section\"", at, name)
		}
	}
	return nil
}

func checkAmounts(file string, root *yaml.Node, drugs map[string]Drug, shocks []Amount, sync map[string][]Amount) error {
	check := func(parent, key string, list []Amount, limit float64) error {
		for i, a := range list {
			at := fmt.Sprintf("%s:%d: %s, number %d", file, lineOf(root, parent, key), strings.TrimSpace(parent+" "+key), i+1)
			fixed, perKg := a.Fixed > 0, a.PerKg > 0
			switch {
			case fixed == perKg, !(a.Fixed >= 0 && a.PerKg >= 0 && a.Min >= 0 && a.Max >= 0 && a.PerKgMax >= 0):
				return fmt.Errorf("%s: give one of fixed and per_kg, above 0", at)
			case !(a.Fixed <= limit && a.PerKg <= limit && a.PerKgMax <= limit && a.Max <= limit && a.Min <= limit):
				return fmt.Errorf("%s: above %v", at, limit)
			case perKg && a.Max == 0:
				return fmt.Errorf("%s: per_kg needs max, the adult's dose", at)
			case a.Source == "":
				return fmt.Errorf("%s: no source: add source: \"guideline, year, section\"", at)
			}
		}
		return nil
	}
	for name, d := range drugs {
		if err := check("drugs", name, d.Doses, maxDose); err != nil {
			return err
		}
		if len(d.Doses) == 0 || d.MgPerMl < 0 || d.MaxTotal < 0 || d.MaxTotalPerKg < 0 || d.MaxDoses < 0 {
			return fmt.Errorf("%s:%d: drug %s: want doses, and no number below 0", file, lineOf(root, "drugs", name), name)
		}
	}
	for rhythm, list := range sync {
		if err := check("sync", rhythm, list, maxJoules); err != nil {
			return err
		}
	}
	return check("shocks", "", shocks, maxJoules)
}

// For returns the protocol for the patient that the state tells of.
func (p *Protocol) For(s State) *Protocol {
	key := p.patient(s)
	if s.Hypothermic {
		key += " hypothermic"
	}
	if q := p.forms[key]; q != nil {
		return q
	}
	return p
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

// patient is the kind of patient as called, or else as the age tells.
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
	}
	return ""
}

// Weight is the patient's weight in kg, as called or else estimated from the
// age, and what it rests on; 0 if neither is known.
func (p *Protocol) Weight(s State) (kg float64, basis string) {
	if s.WeightKg > 0 {
		return s.WeightKg, "called"
	}
	if s.AgeMonths > 0 {
		if kg, source, err := EstimateWeight(p.WeightRule, s.AgeMonths); err == nil {
			return kg, "estimated: " + source
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
			for _, v := range layers {
				q.overlay(p.Variants[v].protocol())
			}
			if err := q.check(strings.TrimSpace(name + " " + patient + cold)); err != nil {
				return err
			}
			forms[patient+cold] = &q
		}
	}
	p.forms = forms
	return nil
}

func (v Variant) protocol() Protocol {
	return Protocol{Values: v.Values, Drugs: v.Drugs, Shocks: v.Shocks, Sync: v.Sync, Causes: v.Causes, WeightRule: v.WeightRule}
}

func (p *Protocol) overlay(q Protocol) {
	for _, f := range []struct{ to, from *string }{{&p.ID, &q.ID}, {&p.Title, &q.Title}, {&p.Guideline, &q.Guideline}} {
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
	if q.Antiarrhythmics != nil {
		p.Antiarrhythmics = q.Antiarrhythmics
	}
	if q.Shocks != nil {
		p.Shocks = q.Shocks
	}
	if q.Monophasic != nil {
		p.Monophasic = q.Monophasic
	}
	if q.Causes != nil {
		p.Causes = q.Causes
	}
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

// check holds what no single file can show: that nothing is missing and that
// values agree with each other.
func (p *Protocol) check(name string) error {
	for k := range bounds {
		if _, ok := p.Values[k]; !ok {
			return fmt.Errorf("protocol %s: value %q is missing", name, k)
		}
	}
	for _, o := range [][2]string{{"compression_rate_min", "compression_rate_max"}, {"epinephrine_due_s", "epinephrine_overdue_s"},
		{"pause_warning_s", "pause_limit_s"}, {"cycle_warning_s", "cycle_s"}, {"rosc_spo2_min", "rosc_spo2_max"}, {"brady_epinephrine_min", "brady_epinephrine_max"}, {"rosc_temperature_min", "rosc_temperature_max"}} {
		if p.Values[o[0]].Value > p.Values[o[1]].Value {
			return fmt.Errorf("protocol %s: %s is above %s", name, o[0], o[1])
		}
	}
	if weightRules[p.WeightRule].kg == nil {
		return fmt.Errorf("protocol %s: no weight rule %q: choose one of %v", name, p.WeightRule, WeightRules())
	}
	for _, d := range append([]string{"epinephrine"}, p.Antiarrhythmics...) {
		if len(p.Drugs[d].Doses) == 0 {
			return fmt.Errorf("protocol %s: drug %s has no doses", name, d)
		}
	}
	if len(p.Shocks) == 0 {
		return fmt.Errorf("protocol %s: no shock energies", name)
	}
	return nil
}

// Get returns a value by name; every name in bounds is present after loading.
func (p *Protocol) Get(name string) float64 { return p.Values[name].Value }

// Span returns a value given in seconds as session time.
func (p *Protocol) Span(name string) Time { return Seconds(p.Get(name)) }

// lineOf finds the line of key (or of parent, if key is "") in a document.
func lineOf(root *yaml.Node, parent, key string) int {
	find := func(m *yaml.Node, k string) (*yaml.Node, *yaml.Node) {
		for i := 0; m != nil && m.Kind == yaml.MappingNode && i+1 < len(m.Content); i += 2 {
			if m.Content[i].Value == k {
				return m.Content[i], m.Content[i+1]
			}
		}
		return nil, nil
	}
	if len(root.Content) == 0 {
		return 1
	}
	k, v := find(root.Content[0], parent)
	if k == nil {
		return 1
	}
	if c, _ := find(v, key); c != nil {
		return c.Line
	}
	return k.Line
}

// yamlError strips the library's prefix so that one clear line is left.
func yamlError(err error) string {
	s := strings.TrimPrefix(err.Error(), "yaml: ")
	s = strings.TrimPrefix(s, "unmarshal errors:\n  ")
	s = strings.SplitN(s, "\n", 2)[0]
	return strings.TrimPrefix(s, "line ")
}

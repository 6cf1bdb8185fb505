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
	"sort"
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

// Antiarrhythmic is one dose in the order that the protocol considers it.
type Antiarrhythmic struct {
	Drug       string  `yaml:"drug"`
	AfterShock int     `yaml:"after_shock"`
	DoseMg     float64 `yaml:"dose_mg"`
	Source     string  `yaml:"source"`
	Status     string  `yaml:"status"`
}

// Protocol is one guideline's numbers for one kind of patient. All lengths of
// time are session time.
type Protocol struct {
	ID              string           `yaml:"id"`
	Title           string           `yaml:"title"`
	Guideline       string           `yaml:"guideline"`
	Year            int              `yaml:"year"`
	Values          map[string]Value `yaml:"values"`
	Antiarrhythmics []Antiarrhythmic `yaml:"antiarrhythmics"`
	Causes          []string         `yaml:"causes"`
	Hash            string           `yaml:"-"` // SHA-256 of all files it was made of
}

type bound struct{ min, max float64 }

// bounds holds every value a protocol must give, and what a site may set it
// to: wide enough for every published guideline, narrow enough for a typo.
var bounds = map[string]bound{
	"compression_rate_min": {80, 130}, "compression_rate_max": {80, 130},
	"cycle_s": {60, 300}, "cycle_warning_s": {5, 45},
	"ratio_compressions": {3, 30}, "ratio_breaths": {1, 2}, "breaths_pause_s": {2, 6}, "ventilation_s": {2, 10},
	"pause_warning_s": {3, 10}, "pause_limit_s": {5, 20},
	"epinephrine_mg": {0.01, 1}, "epinephrine_due_s": {120, 360}, "epinephrine_overdue_s": {120, 600}, "epinephrine_after_shock": {0, 5},
	"shock_energy_min_j": {1, 360}, "shock_energy_max_j": {1, 360}, "sustained_rosc_s": {30, 3600},
}

// Protocols lists the ids of the built-in protocols.
func Protocols() []string {
	files, _ := protocols.ReadDir("protocols")
	var ids []string
	for _, f := range files {
		ids = append(ids, strings.TrimSuffix(f.Name(), ".yaml"))
	}
	sort.Strings(ids)
	return ids
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
	return p, p.check(id)
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
	for name, v := range q.Values {
		at := fmt.Sprintf("%s:%d", s.Name, lineOf(&root, "values", name))
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
	for i, a := range q.Antiarrhythmics {
		if a.Drug != "amiodarone" && a.Drug != "lidocaine" || a.AfterShock < 1 || a.DoseMg <= 0 || a.DoseMg > 300 || a.Source == "" {
			return fmt.Errorf("%s:%d: antiarrhythmic %d: want drug (amiodarone or lidocaine), after_shock from 1, dose_mg up to 300, source", s.Name, lineOf(&root, "antiarrhythmics", ""), i+1)
		}
	}
	p.overlay(q)
	return nil
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
	if p.Values == nil {
		p.Values = map[string]Value{}
	}
	for k, v := range q.Values {
		p.Values[k] = v
	}
	if q.Antiarrhythmics != nil {
		p.Antiarrhythmics = q.Antiarrhythmics
	}
	if q.Causes != nil {
		p.Causes = q.Causes
	}
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
		{"pause_warning_s", "pause_limit_s"}, {"cycle_warning_s", "cycle_s"}, {"shock_energy_min_j", "shock_energy_max_j"}} {
		if p.Values[o[0]].Value > p.Values[o[1]].Value {
			return fmt.Errorf("protocol %s: %s is above %s", name, o[0], o[1])
		}
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

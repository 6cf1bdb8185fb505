package decide

import (
	"bytes"
	_ "embed"
	"fmt"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"coxswain/intents"
)

//go:embed odds.yaml
var oddsFile []byte

// Facts of a case that a rule may name, by name.
type Facts map[string]bool

// known are the facts that a case has.
var known = strings.Fields("arrest pulse compressing paused clear charging checking running airway asked")

// Bounds of the odds, of one rule and of all together: a case makes nothing certain.
const (
	leastOdds = 0.25
	mostOdds  = 4
)

// Rules are how much likelier callouts are where a case stands.
type Rules struct {
	list      []rule
	opposites []pair
	timeless  []timeless
	bare      []bare
}

// bare is an answer that is asked about where facts hold and nothing asked for it.
type bare struct {
	Callout string   `yaml:"callout"`
	When    []string `yaml:"when"`
	Why     string   `yaml:"why"`
}

// timeless are callouts that a time behind them does not move, and does not pass on to the callout before.
type timeless struct {
	Callout string `yaml:"callout"`
	Why     string `yaml:"why"`
	line    int
}

// UnmarshalYAML keeps the line for errors.
func (t *timeless) UnmarshalYAML(n *yaml.Node) error {
	type plain timeless
	err := intents.OnlyKeys(n, "in a timeless callout", "callout", "why")
	if err == nil {
		err = n.Decode((*plain)(t))
	}
	t.line = n.Line
	return err
}

type rule struct {
	Callout string   `yaml:"callout"`
	When    []string `yaml:"when"`
	Odds    float64  `yaml:"odds"`
	Why     string   `yaml:"why"`
	line    int
}

// UnmarshalYAML keeps the line for errors.
func (r *rule) UnmarshalYAML(n *yaml.Node) error {
	type plain rule
	if err := intents.OnlyKeys(n, "in a rule", "callout", "when", "odds", "why"); err != nil {
		return err
	}
	if err := n.Decode((*plain)(r)); err != nil {
		return err
	}
	r.line = n.Line
	return nil
}

// Load returns the built-in rules.
func Load() (*Rules, error) { return Parse("odds.yaml", oddsFile) }

var (
	idForm   = regexp.MustCompile(`^[a-z0-9][a-z0-9_.-]{0,63}$`)
	lineForm = regexp.MustCompile(`line (\d+): `)
)

// Parse reads and checks rules. Errors name file and line.
func Parse(name string, text []byte) (*Rules, error) {
	var f struct {
		Odds      []rule     `yaml:"odds"`
		Opposites []pair     `yaml:"opposites"`
		Timeless  []timeless `yaml:"timeless"`
		Bare      []bare     `yaml:"bare"`
	}
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(&f); err != nil {
		why := strings.ReplaceAll(strings.TrimPrefix(err.Error(), "yaml: "), "\n", " ")
		if m := lineForm.FindStringSubmatch(why); m != nil {
			return nil, fmt.Errorf("%s:%s: %s", name, m[1], why[strings.Index(why, m[0])+len(m[0]):])
		}
		return nil, fmt.Errorf("%s: %s", name, why)
	}
	for _, r := range f.Odds {
		if err := r.check(); err != nil {
			return nil, fmt.Errorf("%s:%d: %w", name, r.line, err)
		}
	}
	for _, o := range f.Opposites {
		if len(o.Callouts) != 2 || o.Ask == "" || o.Why == "" {
			return nil, fmt.Errorf("%s: opposites: %v: want two callouts, ask and why", name, o.Callouts)
		}
	}
	for _, t := range f.Timeless {
		if !idForm.MatchString(t.Callout) || t.Why == "" {
			return nil, fmt.Errorf("%s:%d: timeless: %q: want a callout, or the beginning of some and a dot, and why",
				name, t.line, t.Callout)
		}
	}
	for _, b := range f.Bare {
		if err := (rule{Callout: b.Callout, When: b.When, Odds: 1, Why: b.Why}).check(); err != nil {
			return nil, fmt.Errorf("%s: bare: %w", name, err)
		}
	}
	return &Rules{f.Odds, f.Opposites, f.Timeless, f.Bare}, nil
}

func (r rule) check() error {
	switch {
	case !idForm.MatchString(r.Callout):
		return fmt.Errorf("callout %q: want an id, or the beginning of some with a dot at its end", r.Callout)
	case !(r.Odds >= leastOdds && r.Odds <= mostOdds):
		return fmt.Errorf("odds of %s are %v, want %v to %v", r.Callout, r.Odds, leastOdds, mostOdds)
	case len(r.When) == 0:
		return fmt.Errorf("%s: when is missing: name a fact: %s", r.Callout, strings.Join(known, ", "))
	case r.Why == "":
		return fmt.Errorf("%s: why is missing: every rule has its reason", r.Callout)
	}
	for _, w := range r.When {
		if w = strings.TrimPrefix(w, "not "); !slices.Contains(known, w) {
			return fmt.Errorf("%s: unknown fact %q: known are %s", r.Callout, w, strings.Join(known, ", "))
		}
	}
	return nil
}

// Callouts are the ids that the rules name, for a check against a vocabulary.
func (r *Rules) Callouts() (out []string) {
	for _, x := range r.list {
		out = append(out, x.Callout)
	}
	for _, o := range r.opposites {
		out = append(out, o.Callouts...)
	}
	for _, x := range r.timeless {
		out = append(out, x.Callout)
	}
	for _, x := range r.bare {
		out = append(out, x.Callout)
	}
	return out
}

// Odds are the odds of a callout in a case, and why they are not even.
func (r *Rules) Odds(callout string, f Facts) (odds float64, why []string) {
	odds = 1
	for _, x := range r.list {
		if x.covers(callout) && x.holds(f) {
			odds *= x.Odds
			why = append(why, x.Why)
		}
	}
	return min(mostOdds, max(leastOdds, odds)), why
}

func (r rule) covers(callout string) bool { return covers(r.Callout, callout) }

// covers reports whether an id is the one named, or begins with it if that ends with a dot.
func covers(named, id string) bool {
	return id == named || strings.HasSuffix(named, ".") && strings.HasPrefix(id, named)
}

// fixed reports whether a time behind a callout moves nothing: it is not of the callout before it.
func (r *Rules) fixed(callout string) bool {
	return slices.ContainsFunc(r.timeless, func(t timeless) bool { return covers(t.Callout, callout) })
}

// wonders reports whether an answer that nothing asked for is asked about in a case.
func (r *Rules) wonders(callout string, f Facts) bool {
	return slices.ContainsFunc(r.bare, func(b bare) bool { return callout == b.Callout && hold(b.When, f) })
}

func (r rule) holds(f Facts) bool { return hold(r.When, f) }

// hold reports whether all these facts hold.
func hold(when []string, f Facts) bool {
	for _, w := range when {
		fact, not := strings.CutPrefix(w, "not ")
		if f[fact] == not {
			return false
		}
	}
	return true
}

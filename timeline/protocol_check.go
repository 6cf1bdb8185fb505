package timeline

import (
	_ "embed"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

//go:embed rules.yaml
var rulesFile []byte

type bound struct{ min, max float64 }

// hold reports whether a number lies within; one that is none does not.
func (b bound) hold(x float64) bool { return x >= b.min && x <= b.max }

// bounds holds every value a protocol must give, and what a site may set it
// to: wide enough for every published guideline, narrow enough for a typo.
var bounds = map[string]bound{
	"compression_rate_min": {80, 130}, "compression_rate_max": {80, 130}, "cycle_s": {60, 300},
	"cycle_warning_s": {5, 45}, "ratio_compressions": {3, 30}, "ratio_breaths": {1, 2},
	"breaths_pause_s": {2, 6}, "ventilation_s": {2, 10}, "pause_warning_s": {3, 10},
	"pause_limit_s": {5, 20}, "epinephrine_due_s": {120, 360}, "epinephrine_overdue_s": {120, 600},
	"epinephrine_after_shock": {0, 5}, "epinephrine_nonshockable_s": {0, 300},
	"refractory_shocks": {2, 6}, "atropine_interval_s": {60, 600}, "pulse_recheck_s": {30, 600},
	"rosc_spo2_min": {85, 100}, "rosc_spo2_max": {90, 100}, "rosc_pressure_mmhg": {50, 100},
	"ecmo_told_s": {3, 60}, "rosc_glucose_min": {60, 150}, "rosc_glucose_max": {140, 220},
	"rosc_ventilation_s": {2, 10}, "rosc_temperature_min": {30, 38}, "rosc_temperature_max": {32, 38},
	"delivery_s": {60, 600}, "infant_below_months": {6, 24}, "child_below_years": {8, 18},
	"child_below_kg":          {20, 60},
	"amiodarone_infusion_min": {5, 60}, "adenosine_interval_s": {30, 300},
	"brady_epinephrine_min": {1, 10}, "brady_epinephrine_max": {2, 20},
	"amiodarone_after_mg_min": {0.3, 2}, "rosc_systolic_mmhg": {70, 140},
	"rosc_pressure_to_mmhg": {50, 100}, "rosc_temperature_h": {6, 168},
	"rosc_temperature_max_h": {6, 168}, "vector_change_shocks": {2, 6}, "stacked_shocks": {1, 3},
	"stacked_epinephrine_shocks": {1, 3}, "naloxone_s": {0, 600}, "cold_c": {25, 35},
	"cold_shocks": {1, 10}, "cold_epinephrine_doses": {0, 10}, "settle_s": {1, 10},
	"antiarrhythmic_again_shocks": {1, 5}, "causes_round_s": {5, 120}, "displace_s": {3, 60},
	"delivery_warning_s": {0, 240}, "aftercare_s": {5, 60}, "aftercare_gap_s": {5, 60},
	"vagal_s": {5, 60}, "adenosine_after_vagal_s": {10, 120}, "stable_drug_s": {5, 120},
	"infusion_after_pacing_s": {5, 120}, "pause_again_s": {10, 120}, "cycle_again_s": {10, 120},
	"thrombolysis_told_s": {600, 7200}, "cold_slow_s": {0, 60}, "shock_open_s": {20, 120}, "first_look_s": {10, 120},
	"drug_again_s": {20, 240}, "drug_again_most_s": {60, 600}, "silence_s": {60, 600}, "silence_after_cycle_s": {5, 60},
	"round_s":               {20, 300},
	"glucose_mgdl_per_mmol": {17.9, 18.1},
	"weight_far_off":        {1.5, 4}, "brady_compress_rate": {40, 100}, "resync_s": {3, 60},
	"stacked_antiarrhythmic_shocks": {1, 3},
	"etco2_jump_mmhg":               {5, 30},
	"epinephrine_not_before_shock":  {1, 5}, "antiarrhythmic_not_before_shock": {1, 5},
	"shock_least_j": {50, 200}, "cold_mild_c": {30, 36},
	"grown_from_years": {12, 25}, "opioid_pulse_s": {3, 60}, "shock_least_part": {0.1, 1}, "dose_least_part": {0.1, 1},
	"dose_near_part": {0, 0.5}, "muscle_epinephrine_most_mg": {0.15, 0.5},
	"newborn_epinephrine_per_kg": {0.01, 0.03},
	"shock_most_j":               {200, maxJoules}, "sync_least_j": {50, 100}, "sync_first_most_j": {100, maxJoules},
}

// rules are the numbers of rules.yaml: what the state itself depends on; sold are the
// concentrations that there are, singly the most of a drug that is given as one dose.
var rules, sold, singly = func() (map[string]Value, map[string][]float64, map[string]Bound) {
	var doc struct {
		Values         map[string]Value     `yaml:"values"`
		Concentrations map[string][]float64 `yaml:"concentrations"`
		MostDoses      map[string]Bound     `yaml:"most_doses"`
	}
	if err := DecodeStrict("rules.yaml", rulesFile, &doc); err != nil {
		panic(err) // that it is well formed is tested
	}
	return doc.Values, doc.Concentrations, doc.MostDoses
}()

// rule returns a number of rules.yaml that is given in seconds.
func rule(name string) Time { return Seconds(rules[name].Value) }

// optional values are those of which a guideline may set none.
var optional = map[string]bool{
	"rosc_temperature_min": true, "rosc_systolic_mmhg": true, "rosc_pressure_to_mmhg": true,
	"rosc_temperature_h": true, "rosc_temperature_max_h": true, "vector_change_shocks": true,
	"stacked_shocks": true, "stacked_epinephrine_shocks": true, "delivery_s": true,
	"brady_epinephrine_min": true, "brady_epinephrine_max": true, "naloxone_s": true, "cold_c": true,
	"glucose_mgdl_per_mmol": true, "brady_compress_rate": true, "stacked_antiarrhythmic_shocks": true,
	"cold_shocks": true, "cold_epinephrine_doses": true, "cold_mild_c": true, "epinephrine_not_before_shock": true,
	"antiarrhythmic_not_before_shock": true, "ecmo_told_s": true,
}

// Upper bounds of what a site may write as a dose (mg) or an energy (J).
const (
	maxDose   = 100_000
	maxJoules = 360
)

// Cautions are what a drug can be not given in; each has its words in
// prompts/cues.yaml.
var Cautions = []string{"long QT", "long QT or heart failure", "wide high-degree block"}

// patients are the kinds of patient that a protocol may change values for.
var patients = map[string]bool{"child": true, "infant": true, "hypothermic": true}

func checkValues(file string, root *yaml.Node, values map[string]Value) error {
	for _, name := range slices.Sorted(maps.Keys(values)) {
		if err := values[name].check(name); err != nil {
			return fmt.Errorf("%s:%d: %w", file, lineOf(root, "values", name), err)
		}
	}
	return nil
}

// checkUnits holds values to the units of those below them: 180 min is no 180 s.
func checkUnits(file string, root *yaml.Node, below, values map[string]Value) error {
	for _, name := range slices.Sorted(maps.Keys(values)) {
		if u, want := values[name].Unit, below[name].Unit; u != "" && want != "" && u != want {
			return fmt.Errorf("%s:%d: %s is in %s, not %s", file, lineOf(root, "values", name), name, want, u)
		}
	}
	return nil
}

// numberless reports whether a value says that there is no number to hold to bounds.
func (v Value) numberless(name string) bool {
	return v.None || v.Status == Unresolved && v.Value == 0 && optional[name]
}

// check holds one value to its bounds and to a source.
func (v Value) check(name string) error {
	b, known := bounds[name]
	unresolved := v.Status == Unresolved
	switch {
	case !known:
		return fmt.Errorf("unknown value %q", name)
	case v.None && !(optional[name] && v.Value == 0):
		return fmt.Errorf("%s needs a number and cannot be none", name)
	case unresolved != (len(v.Readings) > 0):
		return fmt.Errorf("%s: readings and status: unresolved go together", name)
	case v.Source == "" && !unresolved:
		return fmt.Errorf("%s has no source: add source: \"guideline, year, section\"", name)
	}
	if err := checkReadings(v.Readings); unresolved && err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	if !v.numberless(name) && !b.hold(v.Value) {
		return fmt.Errorf(
			"%s is %s, allowed are %s to %s",
			name,
			FormatNumber(v.Value),
			FormatNumber(b.min),
			FormatNumber(b.max),
		)
	}
	return nil
}

func checkAmounts(
	file string,
	root *yaml.Node,
	drugs map[string]Drug,
	shocks []Amount,
	sync map[string][]Amount,
) error {
	check := func(parent, key string, list []Amount, limit float64) error {
		for i, a := range list {
			if err := a.wrong(limit); err != nil {
				where := strings.TrimSpace(parent + " " + key)
				return fmt.Errorf("%s:%d: %s, number %d: %w", file, lineOf(root, parent, key), where, i+1, err)
			}
		}
		return nil
	}
	for name, d := range drugs {
		if err := check("drugs", name, d.Doses, maxDose); err != nil {
			return err
		}
		if err := d.wrong(); err != nil {
			return fmt.Errorf("%s:%d: drug %s: %w", file, lineOf(root, "drugs", name), name, err)
		}
	}
	for rhythm, list := range sync {
		if err := check("sync", rhythm, list, maxJoules); err != nil {
			return err
		}
	}
	return check("shocks", "", shocks, maxJoules)
}

// wrong says what is wrong with an amount of at most limit.
func (a Amount) wrong(limit float64) error {
	switch fixed, perKg := a.Fixed > 0, a.PerKg > 0; {
	case len(a.Readings) > 0 || a.Status == Unresolved:
		return a.unresolvedWrong()
	case a.Maximum || a.MgMin != 0:
		return a.rateWrong(limit)
	case fixed == perKg, !within(math.Inf(1), a.Fixed, a.PerKg, a.Min, a.Max, a.PerKgMax):
		return errors.New("give one of fixed and per_kg, above 0")
	case !within(limit, a.Fixed, a.PerKg, a.PerKgMax, a.Max, a.Min):
		return fmt.Errorf("above %v", limit)
	case perKg && a.Max == 0:
		return errors.New("per_kg needs max, the adult's dose")
	case a.Source == "":
		return errors.New("no source: add source: \"guideline, year, section\"")
	}
	return nil
}

// unresolvedWrong is wrong for an amount that only has readings.
func (a Amount) unresolvedWrong() error {
	if a.Status != Unresolved || a.Fixed > 0 || a.PerKg > 0 || a.Maximum || a.MgMin != 0 {
		return errors.New("readings and status: unresolved go together, without a number")
	}
	return checkReadings(a.Readings)
}

// rateWrong is wrong for an amount that is the highest allowed, or a rate.
func (a Amount) rateWrong(limit float64) error {
	alone := !(a.Fixed > 0 || a.PerKg > 0 || a.Maximum && a.MgMin != 0)
	if !alone || !within(limit, a.MgMin) || !(a.MgMinMax >= 0) || a.Source == "" {
		return errors.New("maximum or mg_min stands alone, with a source")
	}
	return nil
}

// within reports whether all numbers lie from 0 to limit; one that is none does not.
func within(limit float64, numbers ...float64) bool {
	for _, x := range numbers {
		if !(x >= 0 && x <= limit) {
			return false
		}
	}
	return true
}

// wrong says what is wrong with a drug, its doses left out.
func (d Drug) wrong() error {
	switch {
	case d.Caution != "" && !slices.Contains(Cautions, d.Caution):
		return fmt.Errorf("unknown caution %q: choose one of %s", d.Caution, strings.Join(Cautions, ", "))
	case d.limited() && d.Source == "":
		return errors.New("its limits have no source: add source: \"guideline, year, section\"")
	case len(d.Doses) == 0 || d.MgPerMl < 0 || d.MaxTotal < 0 || d.MaxTotalPerKg < 0 || d.MaxDoses < 0:
		return errors.New("want doses, and no number below 0")
	}
	return nil
}

// check holds what no single file can show: that nothing is missing and that
// values agree with each other.
func (p *Protocol) check(name string) error {
	for k := range bounds {
		if _, ok := p.Values[k]; !ok {
			return fmt.Errorf("protocol %s: value %q is missing", name, k)
		}
	}
	if err := p.checkOrder(name); err != nil {
		return err
	}
	if weightRules[p.WeightRule].kg == nil {
		return fmt.Errorf("protocol %s: no weight rule %q: choose one of %v", name, p.WeightRule, WeightRules())
	}
	for _, d := range append([]string{"epinephrine"}, p.Antiarrhythmics...) {
		if len(p.Drugs[d].Doses) == 0 {
			return fmt.Errorf("protocol %s: drug %s has no doses", name, d)
		}
	}
	for _, step := range p.Bradycardia {
		if !slices.Contains(bradySteps, step) {
			known := strings.Join(bradySteps, ", ")
			return fmt.Errorf("protocol %s: bradycardia: unknown step %q: choose of %s", name, step, known)
		}
	}
	if len(p.Shocks) == 0 {
		return fmt.Errorf("protocol %s: no shock energies", name)
	}
	return nil
}

// arrestDrugs are the antiarrhythmics that are spoken of.
var arrestDrugs = []string{"amiodarone", "lidocaine"}

// ofTheArrest reports whether a drug is pushed in the arrest: epinephrine, or one of these.
func ofTheArrest(drug string) bool {
	return drug == "epinephrine" || slices.Contains(arrestDrugs, drug)
}

// checkNames holds an overlay to a name that is not another built-in protocol's, and to
// drugs that are spoken of.
func (p *Protocol) checkNames(file string, root *yaml.Node, q Protocol) error {
	for _, d := range q.Antiarrhythmics {
		if !slices.Contains(arrestDrugs, d) {
			return fmt.Errorf("%s:%d: antiarrhythmics: %s: choose of %s", file, lineOf(root, "antiarrhythmics", ""), d,
				strings.Join(arrestDrugs, ", "))
		}
	}
	if !plainID(q.ID) {
		return fmt.Errorf("%s:%d: id: want letters, digits, dots and dashes, 40 at most", file, lineOf(root, "id", ""))
	}
	if p.ID != "" && q.ID != "" && q.ID != p.ID && slices.Contains(Protocols(), q.ID) {
		return fmt.Errorf("%s:%d: id: %s is another protocol's: records would call themselves so", file,
			lineOf(root, "id", ""), q.ID)
	}
	return nil
}

// plainID reports whether a protocol can be called so: records, pages and files name it.
func plainID(id string) bool {
	odd := func(r rune) bool {
		return !(r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '.' || r == '_')
	}
	return len(id) <= 40 && !strings.ContainsFunc(id, odd) && !strings.HasPrefix(id, ".") && !strings.Contains(id, "..")
}

// checkOrder holds the lower of two values below the upper one.
func (p *Protocol) checkOrder(name string) error {
	for _, o := range [][2]string{{"compression_rate_min", "compression_rate_max"},
		{"epinephrine_due_s", "epinephrine_overdue_s"},
		{"pause_warning_s", "pause_limit_s"}, {"cycle_warning_s", "cycle_s"}, {"rosc_spo2_min", "rosc_spo2_max"},
		{"brady_epinephrine_min", "brady_epinephrine_max"}, {"rosc_temperature_min", "rosc_temperature_max"}} {
		if a, b := p.Values[o[0]], p.Values[o[1]]; !a.None && !b.None && a.Value > b.Value {
			return fmt.Errorf("protocol %s: %s is above %s", name, o[0], o[1])
		}
	}
	return nil
}

// lineOf finds the line of key (or of parent, if key is "") in a document.
func lineOf(root *yaml.Node, parent, key string) int {
	at := root
	for _, k := range []string{parent, key} {
		if next := child(at, k); next != nil {
			at = next
		}
	}
	return max(1, at.Line)
}

// child descends through mappings by key; nil if one is missing.
func child(n *yaml.Node, path ...string) *yaml.Node {
	if n != nil && n.Kind == yaml.DocumentNode && len(n.Content) > 0 {
		n = n.Content[0]
	}
	if len(path) == 0 || n == nil {
		return n
	}
	for i := 0; n.Kind == yaml.MappingNode && i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == path[0] {
			if len(path) == 1 { // the line of the key, not of what it holds
				v := *n.Content[i+1]
				v.Line = n.Content[i].Line
				return &v
			}
			return child(n.Content[i+1], path[1:]...)
		}
	}
	return nil
}

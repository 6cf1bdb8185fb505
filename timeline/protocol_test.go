package timeline

import (
	"strings"
	"testing"
)

// Check values from published guidelines. Each names its source.
func TestPublishedValues(t *testing.T) {
	aha, err := LoadProtocol("aha-2020")
	if err != nil {
		t.Fatal(err)
	}
	erc, err := LoadProtocol("erc-2021")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		p      *Protocol
		name   string
		want   float64
		source string
	}{
		{aha, "compression_rate_min", 100, "AHA 2020 adult cardiac arrest algorithm: 100-120/min (secondary reproduction)"},
		{aha, "compression_rate_max", 120, "AHA 2020 adult cardiac arrest algorithm: 100-120/min (secondary reproduction)"},
		{aha, "cycle_s", 120, "AHA 2020 adult cardiac arrest algorithm: CPR 2 min (secondary reproduction)"},
		{aha, "epinephrine_due_s", 3 * 60, "AHA 2020: every 3-5 min"},
		{aha, "epinephrine_overdue_s", 5 * 60, "AHA 2020: every 3-5 min"},
		{aha, "epinephrine_after_shock", 2, "AHA 2020 algorithm, boxes 5-6: epinephrine after the second shock"},
		{aha, "ventilation_s", 6, "AHA 2020: advanced airway, 1 breath every 6 s"},
		{aha, "ratio_compressions", 30, "AHA 2020: 30:2"},
		{aha, "pause_limit_s", 10, "AHA 2010/2020: interruptions below 10 s"},
		{erc, "epinephrine_after_shock", 3, "Resuscitation Council UK 2021: after 3 shocks"},
		{erc, "epinephrine_due_s", 3 * 60, "ERC 2021 ALS: every 3-5 min"},
		{erc, "compression_rate_max", 120, "ERC 2021 BLS: 100-120/min (from memory)"},
	} {
		if got := c.p.Get(c.name); got != c.want {
			t.Errorf("%s %s is %v, want %v: %s", c.p.ID, c.name, got, c.want, c.source)
		}
	}
}

func TestOverlay(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"changes a value", "values:\n  cycle_warning_s: {value: 20, unit: s, source: our unit}\n", ""},
		{"out of bounds", "values:\n  epinephrine_due_s: {value: 10, source: typo}\n",
			"site.yaml:2: epinephrine_due_s is 10, allowed are 120 to 360"},
		{"no source", "values:\n  cycle_s:\n    value: 120\n", "site.yaml:2: cycle_s has no source"},
		{"unknown value", "# ours\nvalues:\n  cycle: {value: 120, source: x}\n", `site.yaml:3: unknown value "cycle"`},
		{"unknown key", "value: {}\n", `site.yaml:1: unknown key "value"`},
		{"not YAML", "values: [\n", "site.yaml:1: "},
		{"a text for a number", "values:\n  cycle_s: {value: x, source: y}\n", `site.yaml:2: "x" stands where a number belongs`},
		{"a number for keys", "values:\n  cycle_s: 5\n", `site.yaml:2: "5" stands where a group of keys with values belongs`},
		{"a list for keys", "values: [1]\n", `site.yaml:1: a list stands where a group of keys with values belongs`},
		{"what steers a terminal", "values:\n  cycle_s: {value: 120, source: \"a\\e[31m\"}\n",
			`site.yaml:2: "a\x1b[31m" has a control character: write plain text`},
		{"unknown caution", "drugs:\n  atropine:\n    caution: rain\n    source: x\n    doses: [{fixed: 1, source: x}]\n",
			`site.yaml:2: drug atropine: unknown caution "rain": choose one of long QT`},
		{"none where a number is needed", "values:\n  cycle_s: {none: true, source: x}\n", "site.yaml:2: cycle_s needs a number"},
		{"unresolved without readings", "values:\n  cold_shocks: {status: unresolved}\n",
			"site.yaml:2: cold_shocks: readings and status: unresolved go together"},
		{"unresolved with a dose", "drugs:\n  naloxone:\n" +
			"    doses: [{fixed: 2, status: unresolved, readings: [{text: a, source: b}]}]\n",
			"site.yaml:2: drugs naloxone, number 1: readings and status: unresolved go together, without a number"},
		{"maximum with a number", "sync:\n  AF: [{maximum: true, fixed: 200, source: x}]\n",
			"site.yaml:2: sync AF, number 1: maximum or mg_min stands alone"},
		{"a limit without a source", "drugs:\n  atropine:\n    max_total_mg: 3\n    doses: [{fixed: 1, source: x}]\n",
			"site.yaml:2: drug atropine: its limits have no source"},
		{"a note without a source", "notes:\n  ours: {text: x}\n", "site.yaml:2: note ours: want a source"},
		{"a variant's line", "variants:\n  child:\n    values:\n      cycle_s: {value: 1, source: x}\n", "site.yaml:4: cycle_s is 1"},
		{"a thousandfold dose", "drugs:\n  epinephrine:\n    doses: [{fixed: 1000, source: x}]\n",
			"site.yaml:2: drug epinephrine: 1000 mg is more than any guideline gives as one dose, 1 mg"},
		{"a child's slipped decimal", "variants:\n  child:\n    drugs:\n      epinephrine:\n" +
			"        doses: [{per_kg: 0.1, max: 1, source: x}]\n", "site.yaml:4: drug epinephrine: 0.1 mg/kg is more"},
		{"empty", "", "site.yaml:1: the file is empty"},
		{"disagreeing", "values:\n  epinephrine_due_s: {value: 360, source: x}\n", "epinephrine_due_s is above epinephrine_overdue_s"},
	} {
		t.Run(c.name, func(t *testing.T) {
			p, err := LoadProtocol("aha-2020", Source{"site.yaml", []byte(c.text)})
			switch {
			case c.want == "" && err != nil:
				t.Fatal(err)
			case c.want == "":
				if got := p.Get("cycle_warning_s"); got != 20 {
					t.Errorf("cycle_warning_s is %v", got)
				}
			case err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n"):
				t.Errorf("error %v, want one line with %q", err, c.want)
			}
		})
	}
	if _, err := LoadProtocol("none"); err == nil || !strings.Contains(err.Error(), "aha-2020") {
		t.Errorf("unknown protocol: %v", err)
	}
}

// No site's dose is above what any guideline gives at once, in another order, or by a name that
// leads elsewhere (the bounds and their sources stand in rules.yaml).
func TestOverlayAgainstAll(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"a threefold dose", "drugs: {amiodarone: {doses: [{fixed: 900, source: x, after_shock: 3}]}}\n",
			"site.yaml:1: drug amiodarone: 900 mg is more than any guideline gives as one dose, 300 mg"},
		{"a day's dose", "variants: {child: {drugs: {amiodarone: {doses: [{per_kg: 15, max: 300, after_shock: 3, source: x}]}}}}\n",
			"site.yaml:1: drug amiodarone: 15 mg/kg is more than any guideline gives as one dose, 5 mg/kg"},
		{"the order turned", "drugs: {amiodarone: {doses: [{fixed: 150, after_shock: 3, source: x}, {fixed: 300, after_shock: 5, source: x}]}}\n",
			"site.yaml:1: drug amiodarone: its doses stand in the opposite order"},
		{"no shock named", "drugs: {amiodarone: {doses: [{fixed: 300, source: x}]}}\n",
			"site.yaml:1: drug amiodarone: dose 1: want after_shock, the shock behind which it is given"},
		{"a child's first shock", "variants: {child: {shocks: [{per_kg: 10, max: 360, source: x}]}}\n",
			"site.yaml:1: shocks, number 1: guidelines begin with 2 to 4 J/kg"},
		{"a child's synchronised shock", "variants: {child: {sync: {SVT: [{per_kg: 4, max: 200, source: x}]}}}\n",
			"site.yaml:1: sync SVT: guidelines give 0.5 to 1 J/kg first, and 4 at most"},
		{"a name that leads elsewhere", "id: ../../x\n", "site.yaml:1: id: want letters, digits, dots and dashes"},
		{"an arrest's push over minutes", "drugs: {epinephrine: {doses: [{fixed: 1, over_min: 20, source: x}]}}\n",
			"site.yaml:1: drug epinephrine: in the arrest it is given at once"},
	} {
		_, err := LoadProtocol("aha-2025", Source{"site.yaml", []byte(c.text)})
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: error %v, want one line with %q", c.name, err, c.want)
		}
	}
}

func FuzzProtocol(f *testing.F) {
	f.Add([]byte("values:\n  cycle_s: {value: 120, source: x}\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		p, err := LoadProtocol("aha-2020", Source{"x", b})
		if err == nil {
			for name, v := range p.Values {
				if lim := bounds[name]; v.Value > lim.max || v.Value < lim.min && !v.None && v.Status != Unresolved {
					t.Errorf("%s is %v", name, v.Value)
				}
			}
		}
	})
}

// A drug that is asked about needs a rhythm that there is, or another drug, and a source.
func TestDoubtfulIsChecked(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"{drug: atropine, rhythms: [PEA], source: a}", ""},
		{"{drug: atropine, rhythms: [sinus], source: a}", "x.yaml:1: doubtful, number 1: unknown rhythm among [sinus]"},
		{"{drug: atropine, source: a}", "x.yaml:1: doubtful, number 1: want a drug, and rhythms or beside"},
		{"{drug: lidocaine, beside: amiodarone}", "x.yaml:1: doubtful, number 1: no source: add source: \"guideline, year, section\""},
	} {
		got := ""
		if _, err := LoadProtocol("aha-2025", Source{"x.yaml", []byte("doubtful: [" + c.text + "]\n")}); err != nil {
			got = err.Error()
		}
		if got != c.want {
			t.Errorf("%s: %q, want %q", c.text, got, c.want)
		}
	}
}

// A tenfold slip in a concentration makes a tenfold volume, and 180 min are no 180 s.
func TestOverlayConcentrationAndUnit(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"drugs: {epinephrine: {mg_per_ml: 1, doses: [{fixed: 1, source: a}]}}", ""},
		{"drugs: {epinephrine: {mg_per_ml: 0.01, doses: [{fixed: 1, source: a}]}}",
			"x.yaml:1: drug epinephrine: 0.01 mg/mL is not sold: choose one of [0.1 1]"},
		{"values: {epinephrine_due_s: {value: 180, unit: min, source: a}}",
			"x.yaml:1: epinephrine_due_s is in s, not min"},
	} {
		got := ""
		if _, err := LoadProtocol("aha-2025", Source{"x.yaml", []byte(c.text + "\n")}); err != nil {
			got = err.Error()
		}
		if got != c.want {
			t.Errorf("%s: %q, want %q", c.text, got, c.want)
		}
	}
}

// An overlay with a slip that would be spoken is refused, with its line: tenfold energies
// (AHA 2025 Part 8: at most 10 J/kg), an adult's milligram for every child, grams for
// milligrams, what nobody calls.
func TestOverlaySlips(t *testing.T) {
	for overlay, want := range map[string]string{
		`variants: {child: {shocks: [{per_kg: 40, max: 200, source: a}]}}`: "more than 10 J/kg (variant child)",
		`variants: {child: {drugs: {epinephrine: {doses: [{fixed: 1, source: a}]}}}}`: "a child's dose goes by weight: " +
			"give per_kg, not fixed (variant child)",
		`drugs: {epinephrine: {doses: [{fixed: 0.001, source: a}]}}`: "less than the smallest below it, 1 mg, by more than 3 times",
		`drugs: {epinephrine: {doses: [{fixed: 0.5, source: a}]}}`:   "",
		`shocks: [{fixed: 20, source: a}]`:                           "below 120 J, from which on it is asked about",
		`shocks: [{fixed: 360, source: a}, {fixed: 200, source: a}]`: "later energies are the same or higher",
		`sync: {svt: [{fixed: 50, source: a}]}`:                      "no such fast rhythm: choose one of VT, SVT, AF, flutter",
		`sync: {SVT: [{fixed: 50, source: a}]}`:                      "",
		`antiarrhythmics: [epinephrine]`:                             "antiarrhythmics: epinephrine: choose of amiodarone, lidocaine",
		`drugs: {vasopressin: {doses: [{fixed: 40, source: a}]}}`:    "nobody calls such a drug, so that it would be without effect",
		`id: aha-2020`: "aha-2020 is another protocol's",
		`id: ours`:     "",
		`asked_above: {naloxone: {most: -1, source: a}}`: "want a drug that is called",
	} {
		_, err := LoadProtocol("aha-2025", Source{"x.yaml", []byte(overlay)})
		got := ""
		if err != nil {
			got = err.Error()
		}
		if !strings.Contains(got, want) || (want == "") != (err == nil) || err != nil && !strings.HasPrefix(got, "x.yaml:1: ") {
			t.Errorf("%s: %q, want %q", overlay, got, want)
		}
	}
}

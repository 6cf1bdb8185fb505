package timeline

import (
	"strings"
	"testing"
)

// The differences between AHA and ERC 2025 that a person looks for first, each
// with the sources in published2025_test.go.
func TestCompare(t *testing.T) {
	a, err := LoadProtocol("aha-2025")
	if err != nil {
		t.Fatal(err)
	}
	b, err := LoadProtocol("erc-2025")
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]string{}
	for _, d := range Compare(a, b) {
		got[d.Patient+" "+d.Name] = d.A.Text + " | " + d.B.Text
	}
	for name, want := range map[string]string{
		"adult epinephrine_after_shock":    "2 shocks | 3 shocks",
		"adult AF 1":                       "200 J | the device's maximum",
		"adult rosc_temperature_min":       "32 °C | none",
		"adult naloxone_s":                 "20 s | none",
		"adult cold_shocks":                "clinician to decide | 3 shocks",
		"adult procainamide 1":             "20 to 50 mg/min | 10 to 15 mg/kg, at most 1000 mg over 20 min",
		"adult sotalol 1":                  "100 mg over 5 min | ",
		"child shocks 1":                   "2 J/kg, at most 200 J | 4 J/kg, at most 200 J",
		"child rosc_spo2_min":              "clinician to decide (94 %, not spoken) | ",
		"hypothermic epinephrine_due_s":    "clinician to decide (180 s, not spoken) | 360 s",
		"adult always_unstable":            "torsades | none",
		"adult capnography":                got["adult capnography"],
		"adult shocks_monophasic 1":        "360 J | ",
		"adult amiodarone_after_mg_min":    "1 mg/min | 0.625 mg/min",
		"adult atropine 1":                 "1 mg | 0.5 mg",
		"infant ventilation_s":             " | clinician to decide (2.4 s, not spoken)",
		"adult stable_vt":                  "amiodarone, procainamide, sotalol | cardioversion, procainamide, amiodarone",
		"adult stacked_epinephrine_shocks": "none | 1 shock",
	} {
		if got[name] != want {
			t.Errorf("%s: %q, want %q", name, got[name], want)
		}
	}
	if same, differs := got["adult cycle_s"]; differs {
		t.Errorf("the cycle differs: %s", same)
	}
	if d := Compare(a, a); len(d) != 0 {
		t.Errorf("a protocol differs from itself: %v", d)
	}
}

// Every line of every protocol has a text, and every number a source and a
// status, or readings; nothing of 2025 claims to be better than secondary but
// what an older standard says in its own text.
func TestLines(t *testing.T) {
	for _, id := range Protocols() {
		p, err := LoadProtocol(id)
		if err != nil {
			t.Fatal(err)
		}
		for _, l := range p.Lines() {
			number := l.Section != "rule"
			switch {
			case l.Text == "", number && l.Status == "", number && l.Source == "" && len(l.Readings) == 0:
				t.Errorf("%s: %+v", id, l)
			case (l.Status == Unresolved) != (len(l.Readings) > 0):
				t.Errorf("%s: readings do not fit the status: %+v", id, l)
			case p.Year == 2025 && l.Status == "seen":
				t.Errorf("%s: the full text was not at hand: %+v", id, l)
			case !strings.Contains(" seen secondary memory unresolved  ", " "+l.Status+" "):
				t.Errorf("%s: status %q", id, l.Status)
			}
		}
	}
}

package rig

import (
	"bytes"
	"encoding/json"
	"slices"
	"strings"
	"testing"

	"coxswain/timeline/drill"
)

// A flag that would do nothing is refused, and the sentence says which and why.
func TestDrillFlags(t *testing.T) {
	for _, c := range []struct {
		given string
		named bool
		want  string
	}{
		{"", false, ""},
		{"json", false, ""},
		{"typed json team silent record", true, ""},
		{"case typed", true, ""},
		{"from record wall", true, ""},
		{"score json", true, ""},
		{"score", false, "--score needs a case"},
		{"serve case listen", false, ""},
		{"silent json", true, ""},
		{"typed from", true, "--from does nothing with --typed"},
		{"typed wall", true, "--wall does nothing with --typed"},
		{"score team", true, "--team does nothing with --score"},
		{"check json", false, "--json does nothing with --check"},
		{"serve typed", false, "--typed does nothing with --serve"},
		{"record", true, "--record does nothing in a live drill"},
		{"typed", false, "--typed needs a case"},
		{"silent", false, "--silent needs a case"},
	} {
		err := DrillFlags(strings.Fields(c.given), c.named)
		if c.want == "" && err != nil || c.want != "" && (err == nil || !strings.HasPrefix(err.Error(), c.want)) {
			t.Errorf("%q, a case named %v: %v, want %q", c.given, c.named, err, c.want)
		}
	}
}

// The list of cases is JSON where a script asks for it.
func TestListCasesAsJSON(t *testing.T) {
	var out bytes.Buffer
	if err := ListCases(&out, true); err != nil {
		t.Fatal(err)
	}
	var ids []string
	for d := json.NewDecoder(&out); d.More(); {
		var c struct {
			Case, Title string
			Minutes     float64
		}
		if err := d.Decode(&c); err != nil || c.Title == "" || c.Minutes <= 0 {
			t.Fatalf("%+v: %v", c, err)
		}
		ids = append(ids, c.Case)
	}
	if !slices.Equal(ids, drill.IDs()) {
		t.Errorf("lists %v, want %v", ids, drill.IDs())
	}
}

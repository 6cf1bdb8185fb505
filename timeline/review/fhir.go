package review

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"go.yaml.in/yaml/v3"

	"coxswain/timeline"
)

//go:embed codes.yaml
var codesFile []byte

type code struct {
	System string `yaml:"system"`
	Code   string `yaml:"code"`
	Text   string `yaml:"text"`
	Source string `yaml:"source"`
	Status string `yaml:"status"`
}

type codeTables struct {
	Procedures map[string]code `yaml:"procedures"`
	Rhythms    map[string]code `yaml:"rhythms"`
	Drugs      map[string]code `yaml:"drugs"`
}

var codes = sync.OnceValues(func() (codeTables, error) {
	var t codeTables
	return t, yaml.Unmarshal(codesFile, &t)
})

// ownSystem is the code system of coxswain's own kinds and figures.
const ownSystem = "urn:coxswain:kind"

type object map[string]any

// concept is a CodeableConcept: the open code if there is one, and our own.
func concept(c code, own, text string) object {
	coding := []object{}
	if c.Code != "" {
		coding = append(coding, object{"system": c.System, "code": c.Code, "display": c.Text})
		text = c.Text
	}
	return object{"coding": append(coding, object{"system": ownSystem, "code": own}), "text": text}
}

// bundle collects resources (HL7 FHIR R4, hl7.org/fhir/R4).
type bundle struct {
	r       *Record
	codes   codeTables
	entries []object
}

func (b *bundle) add(kind string, res object) {
	id := fmt.Sprintf("%s-%d", strings.ToLower(kind), len(b.entries)+1)
	res["resourceType"], res["id"] = kind, id
	if kind != "Patient" && kind != "Device" && kind != "Encounter" {
		res["subject"] = object{"reference": "Patient/patient-1"}
		switch kind {
		case "MedicationAdministration":
			res["context"] = object{"reference": "Encounter/encounter-3"}
		default:
			res["encounter"] = object{"reference": "Encounter/encounter-3"}
		}
	}
	b.entries = append(b.entries, object{"fullUrl": "urn:coxswain:" + b.r.Name + ":" + id, "resource": res})
}

func (b *bundle) when(t timeline.Time) string { return b.r.Clock(t).Format(time.RFC3339) }

// writeFHIR writes a Bundle of type collection. The patient is anonymous: a
// voice log does not know who it is, the receiving system does.
func (r *Record) writeFHIR(w io.Writer) error {
	t, err := codes()
	if err != nil {
		return err
	}
	b := &bundle{r: r, codes: t}
	b.add("Patient", object{"text": narrative("Not identified by the voice log.")})
	b.add("Device", object{"deviceName": []object{{"name": r.Session.Software, "type": "user-friendly-name"}}, "note": []object{{"text": r.Caution}}})
	b.add("Encounter", object{"status": "finished", "class": object{"system": "http://terminology.hl7.org/CodeSystem/v3-ActCode", "code": "EMER", "display": "emergency"},
		"subject": object{"reference": "Patient/patient-1"}, "period": object{"start": b.when(max(0, r.Started)), "end": b.when(r.End)}})
	for _, s := range r.Stretches {
		if s.What == "compressing" {
			b.add("Procedure", object{"status": "completed", "code": concept(t.Procedures["compressions"], "compressions", "compressions"), "performedPeriod": object{"start": b.when(s.From), "end": b.when(s.To)}})
		}
	}
	gone := timeline.Retracted(r.Events)
	for _, e := range r.Events {
		if !gone[e.Seq] {
			b.event(e)
		}
	}
	for _, f := range r.Figures() {
		b.figure(f)
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", " ")
	return enc.Encode(object{"resourceType": "Bundle", "type": "collection", "timestamp": b.when(r.End), "entry": b.entries})
}

func narrative(text string) object {
	return object{"status": "generated", "div": `<div xmlns="http://www.w3.org/1999/xhtml">` + text + `</div>`}
}

func (b *bundle) event(e timeline.Event) {
	own, at := string(e.Kind), b.when(e.At)
	if drug, ok := e.Kind.Drug(); ok {
		m := object{"status": "completed", "medicationCodeableConcept": concept(b.codes.Drugs[drug], own, drug), "effectiveDateTime": at}
		mg := e.Values["dose_mg"]
		if g := e.Values["dose_g"]; g > 0 {
			mg = 1000 * g
		}
		if mg > 0 {
			m["dosage"] = object{"text": e.Words(), "dose": object{"value": mg, "unit": "mg", "system": "http://unitsofmeasure.org", "code": "mg"}}
		}
		b.add("MedicationAdministration", m)
		return
	}
	done := func(c code) {
		p := object{"status": "completed", "code": concept(c, own, e.Words()), "performedDateTime": at}
		if j := e.Values["energy_j"]; j > 0 {
			p["note"] = []object{{"text": timeline.FormatNumber(j) + " J"}}
		}
		b.add("Procedure", p)
	}
	seen := func(c code) {
		b.add("Observation", object{"status": "final", "code": object{"coding": []object{{"system": ownSystem, "code": "rhythm-or-pulse"}}, "text": "Rhythm or pulse, as called"},
			"effectiveDateTime": at, "valueCodeableConcept": concept(c, own, e.Words()), "device": object{"reference": "Device/device-2"}})
	}
	switch {
	case e.Kind == timeline.ShockGiven, e.Kind == timeline.CardioversionDone:
		done(b.codes.Procedures[own])
	case e.Kind == timeline.AirwaySecured, e.Kind == timeline.AccessIV, e.Kind == timeline.AccessIO, e.Kind == timeline.FluidBolus, strings.HasPrefix(own, "intervention."):
		done(code{})
	case e.Kind == timeline.ROSC, e.Kind == timeline.PulsePresent, e.Kind == timeline.PulseAbsent, e.Kind == timeline.PulseLost, strings.HasPrefix(own, "rhythm.") && e.Kind != timeline.RhythmCheck:
		seen(b.codes.Rhythms[own])
	}
}

func (b *bundle) figure(f timeline.Figure) {
	o := object{"status": "final", "code": object{"coding": []object{{"system": ownSystem, "code": f.ID}}, "text": f.Name}, "effectiveDateTime": b.when(b.r.End), "device": object{"reference": "Device/device-2"}}
	if f.Known {
		o["valueQuantity"] = object{"value": f.Value, "unit": f.Unit, "system": "http://unitsofmeasure.org", "code": f.Unit}
	} else {
		o["dataAbsentReason"] = object{"coding": []object{{"system": "http://terminology.hl7.org/CodeSystem/data-absent-reason", "code": "unknown"}}}
	}
	if f.Known && f.Low != f.High {
		o["note"] = []object{{"text": fmt.Sprintf("%g to %g if one uncertain event were otherwise", f.Low, f.High)}}
	}
	b.add("Observation", o)
}

package review

import (
	"crypto/sha1"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"coxswain/timeline"
	"coxswain/timeline/figures"
)

// ownSystem is the code system of coxswain's own kinds and figures.
const ownSystem = "urn:coxswain:kind"

type object map[string]any

// concept is a CodeableConcept: the open code if there is one, and our own.
func concept(c timeline.Code, own, text string) object {
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
	entries []object
}

// The first three entries of a bundle, to which the others refer.
const (
	patient   = "patient-1"
	device    = "device-2"
	encounter = "encounter-3"
)

// url is an entry's fullUrl: a UUID (RFC 9562, version 5: by name) made of the record and
// the entry's id, the same each time. References in the bundle are these, since nothing
// else resolves in one whose entries are on no server (FHIR R4, Bundle, "Resolving
// references in Bundles").
func (b *bundle) url(id string) string {
	h := sha1.New()
	fmt.Fprintf(h, "coxswain %s %s %s", b.r.Session.Wall, b.r.Name, id)
	u := h.Sum(nil)[:16]
	u[6], u[8] = u[6]&0x0f|0x50, u[8]&0x3f|0x80
	return fmt.Sprintf("urn:uuid:%x-%x-%x-%x-%x", u[:4], u[4:6], u[6:8], u[8:10], u[10:])
}

// ref refers to an entry.
func (b *bundle) ref(id string) object { return object{"reference": b.url(id)} }

func (b *bundle) add(kind string, res object) {
	id := fmt.Sprintf("%s-%d", strings.ToLower(kind), len(b.entries)+1)
	res["resourceType"], res["id"] = kind, id
	if kind != "Patient" && kind != "Device" && kind != "Encounter" {
		res["subject"] = b.ref(patient)
		switch kind {
		case "MedicationAdministration":
			res["context"] = b.ref(encounter)
		default:
			res["encounter"] = b.ref(encounter)
		}
	}
	b.entries = append(b.entries, object{"fullUrl": b.url(id), "resource": res})
}

func (b *bundle) when(t timeline.Time) string { return b.r.Clock(t).Format(time.RFC3339) }

// writeFHIR writes a Bundle of type collection. The patient is anonymous: a
// voice log does not know who it is, the receiving system does.
func (r *Record) writeFHIR(w io.Writer) error {
	b := &bundle{r: r}
	b.add("Patient", object{"text": narrative("Not identified by the voice log.")})
	b.add(
		"Device",
		object{
			"deviceName": []object{{"name": r.Session.Software, "type": "user-friendly-name"}},
			"note":       []object{{"text": r.Caution}},
		},
	)
	b.add(
		"Encounter",
		object{
			"status": "finished",
			"class": object{
				"system":  "http://terminology.hl7.org/CodeSystem/v3-ActCode",
				"code":    "EMER",
				"display": "emergency",
			},
			"subject": b.ref(patient),
			"period":  object{"start": b.when(max(0, r.Started)), "end": b.when(r.End)},
		},
	)
	for _, s := range r.Stretches {
		if s.What == "compressing" {
			b.add(
				"Procedure",
				object{
					"status":          "completed",
					"code":            concept(timeline.CompressionsStart.Row().Code, "compressions", "compressions"),
					"performedPeriod": object{"start": b.when(s.From), "end": b.when(s.To)},
				},
			)
		}
	}
	once := once(r.Events)
	for _, e := range r.Events {
		if once[e.Seq] {
			b.event(e)
		}
	}
	for _, f := range r.Figures() {
		b.figure(f)
	}
	enc := json.NewEncoder(w)
	enc.SetIndent("", " ")
	return enc.Encode(
		object{"resourceType": "Bundle", "type": "collection", "timestamp": b.when(r.End), "entry": b.entries},
	)
}

func narrative(text string) object {
	return object{"status": "generated", "div": `<div xmlns="http://www.w3.org/1999/xhtml">` + text + `</div>`}
}

// once are the numbers of the events that stand, of a shock or a dose that was told twice
// the first.
func once(events []timeline.Event) map[uint64]bool {
	out := map[uint64]bool{}
	for s, e := range timeline.Replay(events, math.MaxInt64) {
		out[e.Seq] = !s.Repeats(e)
	}
	return out
}

// words tells an event in the words of the record's protocol.
func (b *bundle) words(text string) string { return timeline.Reword(b.r.Session.Words(), text) }

// event adds what the table of kinds makes of an event, if anything.
func (b *bundle) event(e timeline.Event) {
	own, at, row := string(e.Kind), b.when(e.At), e.Kind.Row()
	switch row.FHIR {
	case "medication":
		_, drug := e.Kind.Family()
		what := concept(row.Code, own, drug)
		what["text"] = b.words(what["text"].(string))
		m := object{"status": "completed", "medicationCodeableConcept": what}
		if e.Kind.Before() != "" && e.Early() == 0 { // some time before that
			m["effectivePeriod"] = object{"end": at}
		} else {
			m["effectiveDateTime"] = b.when(e.At - e.Early())
		}
		if mg := e.Milligrams(); mg > 0 {
			m["dosage"] = object{
				"text": b.words(e.Words()),
				"dose": object{"value": mg, "unit": "mg", "system": "http://unitsofmeasure.org", "code": "mg"},
			}
		}
		b.add("MedicationAdministration", m)
	case "procedure":
		p := object{"status": "completed", "code": concept(row.Code, own, b.words(e.Words())), "performedDateTime": at}
		if j := e.Values["energy_j"]; j > 0 {
			p["note"] = []object{{"text": timeline.FormatNumber(j) + " J"}}
		}
		b.add("Procedure", p)
	case "measurement":
		b.measurement(e, row, at)
	case "observation":
		b.add("Observation", object{"status": "final",
			"code": object{
				"coding": []object{{"system": ownSystem, "code": "rhythm-or-pulse"}},
				"text":   "Rhythm or pulse, as called",
			},
			"effectiveDateTime": at, "valueCodeableConcept": concept(row.Code, own, e.Words()),
			"device": b.ref(device)})
	}
}

// measurement adds a number that was called, or two (a blood pressure), as
// parts of one observation.
func (b *bundle) measurement(e timeline.Event, row timeline.Row, at string) {
	o := object{
		"status":            "final",
		"code":              concept(row.Code, string(e.Kind), row.Words),
		"effectiveDateTime": at,
		"device":            b.ref(device),
	}
	if row.Category != "" {
		const system = "http://terminology.hl7.org/CodeSystem/observation-category"
		o["category"] = []object{{"coding": []object{{"system": system, "code": row.Category}}}}
	}
	var parts []object
	for _, slot := range slices.Sorted(maps.Keys(e.Values)) {
		q := object{"value": e.Values[slot], "unit": row.Unit, "system": "http://unitsofmeasure.org", "code": row.Unit}
		parts = append(parts, object{"code": concept(row.Parts[slot], slot, slot), "valueQuantity": q})
	}
	switch len(parts) {
	case 0:
		o["dataAbsentReason"] = absent()
	case 1:
		o["valueQuantity"] = parts[0]["valueQuantity"]
	default:
		o["component"] = parts
	}
	b.add("Observation", o)
}

// absent is why a number is missing: it is not known.
func absent() object {
	const system = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
	return object{"coding": []object{{"system": system, "code": "unknown"}}}
}

func (b *bundle) figure(f figures.Figure) {
	o := object{
		"status":            "final",
		"code":              object{"coding": []object{{"system": ownSystem, "code": f.ID}}, "text": f.Name},
		"effectiveDateTime": b.when(b.r.End),
		"device":            b.ref(device),
	}
	if f.Known {
		o["valueQuantity"] = object{"value": f.Value, "unit": f.Unit, "system": "http://unitsofmeasure.org", "code": f.Unit}
	} else {
		o["dataAbsentReason"] = absent()
	}
	if f.Known && f.Low != f.High {
		o["note"] = []object{{"text": fmt.Sprintf("%g to %g if one uncertain event were otherwise", f.Low, f.High)}}
	}
	b.add("Observation", o)
}

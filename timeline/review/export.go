package review

import (
	_ "embed"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"sort"
	"strconv"
	"strings"
	"time"

	"coxswain/timeline"
)

// Format is a way to take a record out.
type Format struct {
	Name  string
	About string
	Write func(*Record, io.Writer) error
}

// Formats lists the exports.
var Formats = []Format{
	{"csv", "one line an event (RFC 4180)", (*Record).writeCSV},
	{"json", "the whole record (schema: coxswain export --schema)", (*Record).writeJSON},
	{"webvtt", "subtitles for any media player (W3C WebVTT)", (*Record).writeVTT},
	{"fhir", "Bundle of HL7 FHIR R4 resources", (*Record).writeFHIR},
	{"utstein", "fields of the Utstein in-hospital template, with definitions", (*Record).writeUtstein},
}

// Schema is the JSON Schema of the json export.
//
//go:embed record.schema.json
var Schema []byte

func (r *Record) code(t timeline.Time) string {
	if r.Started == timeline.Never || t < r.Started {
		return ""
	}
	return strconv.FormatFloat((t - r.Started).Seconds(), 'f', 3, 64)
}

func (r *Record) writeCSV(w io.Writer) error {
	c := csv.NewWriter(w)
	c.Write(
		[]string{
			"event",
			"wall_clock",
			"session_s",
			"code_s",
			"group",
			"kind",
			"text",
			"heard",
			"confidence",
			"taken_back",
			"amendment",
			"told_twice",
		},
	)
	for _, x := range r.Rows {
		c.Write(
			[]string{
				strconv.FormatUint(x.Seq, 10),
				r.Clock(x.At).Format(time.RFC3339Nano),
				strconv.FormatFloat(x.At.Seconds(), 'f', 3, 64),
				r.code(x.At),
				x.Group,
				string(x.Kind),
				plain(x.Text),
				plain(x.Heard),
				strconv.FormatFloat(x.Sure, 'f', 3, 64),
				strconv.FormatBool(x.Gone),
				plain(x.Note),
				strconv.FormatBool(x.Twice),
			},
		)
	}
	c.Flush()
	return c.Error()
}

// plain keeps a cell from being taken for a formula by a spreadsheet.
func plain(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

func (r *Record) writeJSON(w io.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", " ")
	return enc.Encode(struct {
		Schema string `json:"schema"`
		*Record
	}{"coxswain-record-1", r})
}

// vttTime formats a time as WebVTT wants it: hh:mm:ss.mmm.
func vttTime(t timeline.Time) string {
	ms := (int64(t)*1000 + timeline.Rate/2) / timeline.Rate
	return fmt.Sprintf("%02d:%02d:%02d.%03d", ms/3600000, ms/60000%60, ms/1000%60, ms%1000)
}

var vttEscape = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", "\n", " ", "\r", " ")

func (r *Record) writeVTT(w io.Writer) error {
	if _, err := fmt.Fprintf(w, "WEBVTT\n\nNOTE\n%s\n", vttEscape.Replace(r.Caution)); err != nil {
		return err
	}
	rows := append([]Row(nil), r.Rows...)
	sort.SliceStable(rows, func(i, j int) bool { return rows[i].From < rows[j].From })
	for _, x := range rows {
		if x.Group == "system" || x.Gone {
			continue
		}
		to := max(x.Until, x.From+2*timeline.Rate)
		text := x.Text
		if x.Group == "said" {
			text = "coxswain: " + text
		}
		from, until := vttTime(x.From), vttTime(to)
		if _, err := fmt.Fprintf(w, "\n%d\n%s --> %s\n%s\n", x.Seq, from, until, vttEscape.Replace(text)); err != nil {
			return err
		}
	}
	return nil
}

// Field is one field of the Utstein in-hospital data set.
type Field struct {
	Field      string `json:"field"`
	Value      string `json:"value"` // empty: not called, or not for a voice log to know
	Definition string `json:"definition"`
	Source     string `json:"source"`
}

const nolan = "Nolan, Resuscitation 2019;144:166 (wording from memory)"

// Utstein derives the fields of the in-hospital template that callouts tell.
func (r *Record) Utstein() []Field {
	var out []Field
	add := func(field, value, definition string) { out = append(out, Field{field, value, definition, nolan}) }
	for _, p := range r.Course.TimePoints() {
		v := ""
		if p.At != timeline.Never {
			v = r.Clock(p.At).Format(time.RFC3339)
		}
		add(p.Name, v, "wall-clock time, from the callouts")
	}
	s := r.Course.State
	add(
		"first documented rhythm",
		string(s.FirstRhythm),
		"rhythm that stood when the arrest began, or the first one called in it",
	)
	add(
		"number of shocks",
		strconv.Itoa(len(s.Defibrillations())),
		"shocks of the arrest called as given; cardioversions apart",
	)
	if n := s.ShocksBefore; n > 0 {
		add("number of shocks before arrival", strconv.Itoa(n), "as the crew said that handed over")
	}
	var drugs []string
	for _, d := range r.Drugs {
		times := "times"
		if d.Doses == 1 {
			times = "time"
		}
		drugs = append(drugs, fmt.Sprintf("%s %d %s, %s", d.Drug, d.Doses, times, d.Amount()))
	}
	add("drugs given", strings.Join(drugs, "; "), "drugs called as given during the event")
	sustained := "unknown"
	for _, f := range r.Figures() {
		if f.ID == "sustained" && f.Known {
			sustained = map[bool]string{true: "yes", false: "no"}[f.Value == 1]
		}
	}
	add("sustained return of circulation", sustained, "no compressions needed for 20 consecutive minutes")
	add("outcome of the event", outcome(s), "as called: return of circulation, death, or not called")
	age := ""
	if s.AgeMonths > 0 {
		age = timeline.FormatNumber(s.AgeMonths) + " months"
		if math.Mod(s.AgeMonths, 12) == 0 {
			age = timeline.FormatNumber(s.AgeMonths/12) + " years"
		}
	}
	add("age", age, "as called; else to be filled in by the reviewer")
	for _, f := range []string{"patient identifiers", "sex", "location of the arrest", "witnessed",
		"monitored", "survival to discharge", "neurological outcome"} {
		add(f, "", "not for a voice log to know: to be filled in by the reviewer")
	}
	return out
}

func outcome(s timeline.State) string {
	switch {
	case s.Dead:
		return "death"
	case s.PulsePresent:
		return "return of circulation"
	case s.FirstROSC != timeline.Never:
		return "return of circulation, lost again"
	}
	return "not called"
}

func (r *Record) writeUtstein(w io.Writer) error {
	c := csv.NewWriter(w)
	c.Write([]string{"field", "value", "definition", "source"})
	for _, f := range r.Utstein() {
		c.Write([]string{f.Field, plain(f.Value), f.Definition, f.Source})
	}
	c.Flush()
	return c.Error()
}

package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// called is a code in the journal's order: compressions after 10 s, a rhythm check with a
// pause of so many seconds, a shock.
func called(wall time.Time, pause float64, drill *timeline.Drill) []timeline.Event {
	events := []timeline.Event{{Kind: timeline.SessionOpen, Session: &timeline.Session{
		Wall: wall.Format(time.RFC3339Nano), Rate: timeline.Rate, Protocol: "aha-2025 x", Drill: drill}}}
	for _, c := range []struct {
		at   float64
		kind timeline.Kind
	}{{5, timeline.CodeStart}, {15, timeline.CompressionsStart}, {130, timeline.RhythmCheck}, {133, timeline.RhythmVF},
		{135, timeline.ShockGiven}, {130 + pause, timeline.CompressionsStart}, {150, timeline.Epinephrine}} {
		at := timeline.Seconds(c.at)
		events = append(events, timeline.Event{At: at, Kind: c.kind,
			Heard: &timeline.Heard{Start: at - timeline.Rate, End: at, Decided: at, Text: string(c.kind), Confidence: 1}})
	}
	return append(events, timeline.Event{At: timeline.Seconds(200), Kind: timeline.SessionClose})
}

// keep writes events as the journal of a record.
func keep(t *testing.T, dir string, events []timeline.Event) {
	t.Helper()
	if err := os.MkdirAll(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	j, err := record.Create(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer j.Close()
	for _, e := range events {
		if _, err := j.Append(e); err != nil {
			t.Fatal(err)
		}
	}
}

// records is a folder with four codes in two months, a drill, and what is no record.
func records(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	for k, pause := range []float64{8, 9, 8, 40} {
		wall := time.Date(2026, time.Month(3+k/2), 1+k, 14, 0, 0, 0, time.UTC)
		keep(t, filepath.Join(dir, wall.Format("2006-01-02T150405")), called(wall, pause, nil))
	}
	wall := time.Date(2026, 5, 1, 9, 0, 0, 0, time.UTC)
	keep(t, filepath.Join(dir, "2026-05-01T090000"), called(wall, 10, &timeline.Drill{Case: "shockable", Team: "Night <b>shift"}))
	broken := filepath.Join(dir, "broken")
	os.Mkdir(broken, 0o700)
	if err := os.WriteFile(filepath.Join(broken, record.JournalName), []byte("{}\n{}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// ask sends a request and reads the answer as JSON, where one is wanted.
func ask(t *testing.T, h http.Handler, method, path, body string, into any) (status int, text string) {
	t.Helper()
	r := httptest.NewRequest(method, path, strings.NewReader(body))
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	if into != nil {
		if err := json.Unmarshal(w.Body.Bytes(), into); err != nil {
			t.Fatalf("%s %s: %d: %v: %.300s", method, path, w.Code, err, w.Body)
		}
	}
	return w.Code, w.Body.String()
}

// onDisk is how a page gets at the records of a folder here.
func onDisk(t *testing.T) (Records, []figures.Definition) {
	t.Helper()
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	load := func(dir string) (*review.Record, error) {
		r, err := record.Open(dir)
		if err != nil {
			return nil, err
		}
		out := review.Of(r.Events, defs)
		out.Name = filepath.Base(dir)
		return out, nil
	}
	amend := func(dir string, c timeline.Change) error { return record.Amend(dir, c, nil, time.Now(), nil) }
	return OnDisk(load, amend), defs
}

// The page of records lists what is asked for, newest first, says what it leaves out,
// and offers the rhythms and outcomes that there are.
func TestListOfRecords(t *testing.T) {
	from, defs := onDisk(t)
	h := Library(review.NewIndex(records(t), defs), from, defs, nil)
	for query, want := range map[string][]string{
		"": {"2026-05-01T090000", "2026-04-04T140000", "2026-04-03T140000", "2026-03-02T140000",
			"2026-03-01T140000"},
		"?search=2026-03":                {"2026-03-02T140000", "2026-03-01T140000"},
		"?from=2026-04-01&to=2026-04-30": {"2026-04-04T140000", "2026-04-03T140000"},
		"?kind=drill":                    {"2026-05-01T090000"},
		"?rhythm=asystole":               {},
		"?skip=4":                        {"2026-03-01T140000"},
		"?skip=-3&search=09":             {"2026-05-01T090000"},
		"?skip=99":                       {},
	} {
		var doc struct {
			All      int
			Lines    []review.Summary
			Rhythms  []string
			LeftOut  []string `json:"left_out"`
			Practice bool
			Caution  string
		}
		ask(t, h, "GET", "/api/list"+query, "", &doc)
		var got []string
		for _, l := range doc.Lines {
			got = append(got, l.Name)
		}
		if strings.Join(got, " ") != strings.Join(want, " ") {
			t.Errorf("%q lists %q, want %q", query, got, want)
		}
		if doc.All != 5 || strings.Join(doc.Rhythms, " ") != "VF" || doc.Practice || doc.Caution == "" ||
			len(doc.LeftOut) != 1 || !strings.Contains(doc.LeftOut[0], "broken") {
			t.Errorf("%q: %+v", query, doc)
		}
	}
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	h = Library(review.NewIndex(file, defs), from, defs, nil)
	for _, path := range []string{"/api/list", "/api/charts", "/api/progress", "/record/x/"} {
		if code, text := ask(t, h, "GET", path, "", nil); code != http.StatusInternalServerError || !strings.Contains(text, "file") {
			t.Errorf("%s over what is no folder: %d %s", path, code, text)
		}
	}
}

// Run charts are drawn of the records that are asked for, and a team's drills in the
// order of time; a team's name is text.
func TestChartsAndProgress(t *testing.T) {
	from, defs := onDisk(t)
	h := Library(review.NewIndex(records(t), defs), from, defs, nil)
	var charts []struct{ ID, SVG string }
	ask(t, h, "GET", "/api/charts?kind=code", "", &charts)
	if len(charts) < 5 || !strings.Contains(charts[0].SVG, "<svg") {
		t.Errorf("%d charts: %.100v", len(charts), charts)
	}
	ask(t, h, "GET", "/api/charts?rhythm=asystole", "", &charts)
	if len(charts) != 0 {
		t.Errorf("%d charts of no record", len(charts))
	}
	var teams []struct {
		Team   string
		Drills []review.Summary
		SVG    string
	}
	ask(t, h, "GET", "/api/progress", "", &teams)
	if len(teams) != 1 || teams[0].Team != "Night <b>shift" || len(teams[0].Drills) != 1 || strings.Contains(teams[0].SVG, "<b>") {
		t.Errorf("teams: %+v", teams)
	}
}

// Who asks for a record that cannot be read is told why, and not that there is none.
func TestWhyNoRecord(t *testing.T) {
	from, defs := onDisk(t)
	h := Library(review.NewIndex(records(t), defs), from, defs, nil)
	for path, want := range map[string]string{"/record/broken/": "cannot be read: ", "/pair/broken/2026-03-01T140000/": "events.jsonl:1",
		"/record/broke/": "no record of this name", "/record/none/": "no record of this name"} {
		if code, text := ask(t, h, "GET", path, "", nil); code != http.StatusNotFound || !strings.Contains(text, want) {
			t.Errorf("%s: %d %q, want %q", path, code, text, want)
		}
	}
}

// A record opens under its name, two beside each other; a name that is none opens
// nothing, however it is written. The pages last used are kept, no more.
func TestOpenRecords(t *testing.T) {
	from, defs := onDisk(t)
	dir := records(t)
	loads := 0
	load := from.Load
	from.Load = func(dir string) (*review.Record, error) { loads++; return load(dir) }
	h := Library(review.NewIndex(dir, defs), from, defs, nil)
	for path, want := range map[string]int{
		"/": 200, "/base.js": 200, "/record/2026-03-01T140000/": 200, "/record/2026-03-01T140000/review.js": 200,
		"/pair/2026-03-01T140000/2026-03-02T140000/": 200, "/record/2026-03-01T140000/api/kinds": 200,
		"/record/broken/": 404, "/record/..%2f..%2fetc/": 404, "/record/none/": 404, "/pair/2026-03-01T140000/none/": 404,
		"/nothing.js": 404,
	} {
		if code, text := ask(t, h, "GET", path, "", nil); code != want {
			t.Errorf("%s: %d, want %d: %.100s", path, code, want, text)
		}
	}
	if loads != 0 {
		t.Errorf("%d records were read before a page asked for one: what is painted waits for nothing", loads)
	}
	var pair []*review.Record
	ask(t, h, "GET", "/pair/2026-03-01T140000/2026-03-02T140000/api/records", "", &pair)
	if len(pair) != 2 || pair[0].Name != "2026-03-01T140000" || pair[1].Name != "2026-03-02T140000" {
		t.Fatalf("a pair is %d records", len(pair))
	}
	for k := range 3 * mostOpened { // more pages than are kept
		a, b := k%5, k/5
		names := []string{"2026-03-01T140000", "2026-03-02T140000", "2026-04-03T140000", "2026-04-04T140000", "2026-05-01T090000"}
		if code, _ := ask(t, h, "GET", fmt.Sprintf("/pair/%s/%s/api/records", names[a], names[b]), "", nil); code != 200 {
			t.Errorf("pair %d, %d: %d", a, b, code)
		}
	}
	for pair, want := range map[string]int{"2026-04-04T140000/2026-05-01T090000": 0, "2026-03-01T140000/2026-03-01T140000": 1} {
		before := loads
		ask(t, h, "GET", "/pair/"+pair+"/api/records", "", nil)
		if loads-before != want {
			t.Errorf("%s: read %d times, want %d: the last page is kept, the first is not", pair, loads-before, want)
		}
	}
}

// What is amended on a record's page shows in the list at once.
func TestAmendedOnThePage(t *testing.T) {
	from, defs := onDisk(t)
	h := Library(review.NewIndex(records(t), defs), from, defs, nil)
	amended := func() (names []string) {
		var doc struct{ Lines []review.Summary }
		ask(t, h, "GET", "/api/list", "", &doc)
		for _, l := range doc.Lines {
			if l.Amended {
				names = append(names, l.Name)
			}
		}
		return names
	}
	if got := amended(); len(got) != 0 {
		t.Fatalf("amended before: %v", got)
	}
	change := `{"do":"retract","seq":5,"by":"AB","reason":"was sinus"}`
	var page []*review.Record
	code, _ := ask(t, h, "POST", "/record/2026-03-01T140000/api/amend/0", change, &page)
	if code != 200 || len(page) != 1 || !page[0].Amended || len(page[0].AsAmended) == 0 {
		t.Errorf("the answer to an amendment is %d, %d records", code, len(page))
	}
	if got := amended(); strings.Join(got, " ") != "2026-03-01T140000" {
		t.Errorf("amended after: %v", got)
	}
	for body, want := range map[string]string{
		change:                                 "is no callout that stands", // already
		`{"do":"fly"}`:                         "",
		`{"do":"retract","seq":5,"because":1}`: "not a change",
		strings.Repeat(" ", maxChange+1) + "1": "not a change",
	} {
		if code, text := ask(t, h, "POST", "/record/2026-03-01T140000/api/amend/0", body, nil); code != 400 || !strings.Contains(text, want) {
			t.Errorf("%.60s: %d %s, want 400 and %q", strings.TrimSpace(body), code, text, want)
		}
	}
}

// The course is drawn for a part of the record, also where its loudness cannot be had;
// the sound is served by ranges, so that a browser can jump; what cannot be read says so.
func TestReviewOfARecord(t *testing.T) {
	from, _ := onDisk(t)
	dir := filepath.Join(t.TempDir(), "r")
	keep(t, dir, called(time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC), 8, nil))
	from.Peaks = func(string) ([]byte, error) { return nil, errors.New("no sound") }
	from.Sound = func(_ string, part int) (io.ReadSeekCloser, error) {
		if part != 0 {
			return nil, os.ErrNotExist
		}
		return sound{strings.NewReader("0123456789")}, nil
	}
	h, err := Review(from, dir)
	if err != nil {
		t.Fatal(err)
	}
	near, _ := ask(t, h, "GET", "/api/course/0?from=120&to=160&width=900", "", nil)
	_, whole := ask(t, h, "GET", "/api/course/0?from=0&to=200&width=900", "", nil)
	if near != 200 || !strings.Contains(whole, "<svg") || !strings.Contains(whole, "VF") {
		t.Errorf("the course without its sound: %d %.200s", near, whole)
	}
	r := httptest.NewRequest("GET", "/audio/0/0", nil)
	r.Header.Set("Range", "bytes=3-5")
	w := httptest.NewRecorder()
	if h.ServeHTTP(w, r); w.Code != http.StatusPartialContent || w.Body.String() != "345" || w.Header().Get("Content-Type") != "audio/wav" {
		t.Errorf("a range of the sound: %d %q", w.Code, w.Body)
	}
	for path, want := range map[string]int{"/audio/0/1": 404, "/audio/0/-1": 404, "/audio/7/0": 404, "/api/course/0?from=0": 400,
		"/api/course/x?from=0&to=1&width=9": 404, "/api/records": 200} {
		if code, _ := ask(t, h, "GET", path, "", nil); code != want {
			t.Errorf("%s: %d, want %d", path, code, want)
		}
	}
	var kinds []struct{ Kind, Words string }
	ask(t, h, "GET", "/api/kinds", "", &kinds)
	words := map[string]string{}
	for _, k := range kinds {
		words[k.Kind] = k.Words
	}
	if words["shock.given"] != "shock given" || words["undo"] != "" {
		t.Errorf("%d kinds can be added: %v", len(kinds), words)
	}
	os.RemoveAll(dir)
	for _, path := range []string{"/api/records", "/api/course/0?from=0&to=9&width=900"} {
		if code, _ := ask(t, h, "GET", path, "", nil); code != http.StatusInternalServerError {
			t.Errorf("%s of a record that is gone: %d", path, code)
		}
	}
	if _, err := Review(from, dir); err == nil {
		t.Error("a record that is gone is opened")
	}
}

type sound struct{ *strings.Reader }

func (sound) Close() error { return nil }

// A page is served on this machine only, at the address that is printed, to who has
// its word, until it is asked to end.
func TestPrivatePage(t *testing.T) {
	for _, listen := range []string{"0.0.0.0:0", ":0", "192.0.2.1:80", "nonsense"} {
		if err := (Private{Listen: listen}).Serve(t.Context(), nil); err == nil || !strings.Contains(err.Error(), "stays on this machine") {
			t.Errorf("%s: %v", listen, err)
		}
	}
	from, defs := onDisk(t)
	out, in := io.Pipe()
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() {
		p := Private{Listen: "127.0.0.1:0", Out: in, Caution: "caution"}
		ended <- p.ServeRecords(ctx, records(t), from, defs, nil)
	}()
	var caution, address string
	if _, err := fmt.Fscanln(out, &caution); err != nil || caution != "caution" {
		t.Fatal(caution, err)
	}
	fmt.Fscanln(out, &address)
	plain, _, _ := strings.Cut(address, "?")
	for url, want := range map[string]int{address: 200, plain: 401, plain + "api/list": 401} {
		r, err := http.Get(url)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != want {
			t.Errorf("%s: %s, want %d", url, r.Status, want)
		}
	}
	stop()
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if err := (Private{Listen: "127.0.0.1:0"}).ServeRecords(t.Context(), os.Args[0], from, defs, nil); err == nil {
		t.Error("what is no folder is served")
	}
}

// Two pages are often open at a time: the second takes another address and says so. An address
// that was asked for is held to, and one line says what to do.
func TestAddressTaken(t *testing.T) {
	taken, err := net.Listen("tcp", UsualAddress)
	if err != nil {
		t.Log("somebody else has it:", err) // just as good
	} else {
		defer taken.Close()
	}
	ln, note, err := Private{Listen: UsualAddress}.listen()
	if err != nil {
		t.Fatal(err)
	}
	defer ln.Close()
	if ln.Addr().String() == UsualAddress || !strings.Contains(note, UsualAddress+" is taken") {
		t.Errorf("listens at %v: %q", ln.Addr(), note)
	}
	if _, _, err = (Private{Listen: ln.Addr().String()}).listen(); err == nil || !strings.Contains(err.Error(), "127.0.0.1:0") {
		t.Errorf("an address that is taken: %v", err)
	}
}

package main

import (
	"encoding/json"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/web"
	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
)

// The report is one file that loads nothing, with the caution at both ends, the
// hashes of the files and every figure; its PDF is read by poppler.
func TestReport(t *testing.T) {
	dir := codeRecord(t, filepath.Join(t.TempDir(), "2026-03-01T140000"), 60)
	ok(t, "amend", dir, "--do", "move", "--event", "6", "--at", "0:38", "--by", "AB", "--reason", "monitor log")
	page := filepath.Join(t.TempDir(), "r.html")
	ok(t, "report", dir, "--out", page)
	b, err := os.ReadFile(page)
	if err != nil {
		t.Fatal(err)
	}
	text := string(b)
	r, err := record.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	hashes, _ := r.Hashes()
	for _, want := range []string{hashes[1].SHA256, r.Fingerprint(), "<svg", "amended by AB: monitor log",
		"7 s</td><td class=\"n\">8 s", "<th>Drug</th>", "<th>Rhythm</th>",
		"Kramer-Johansen", "unknown", "unsure", "Arrest from the start, compressions after 7 s."} {
		if !strings.Contains(text, want) {
			t.Errorf("the report lacks %q", want)
		}
	}
	if strings.Count(text, Caution) != 2 || strings.Contains(text, "src=") || strings.Contains(text, "href=") ||
		strings.Contains(text, "{compression") {
		t.Error("the report loads something, shows a structure, or does not show the caution at both ends")
	}
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("no pdftotext: `make test` installs it")
	}
	pdf := filepath.Join(t.TempDir(), "r.pdf")
	ok(t, "report", dir, "--out", pdf)
	out, err := exec.Command("pdftotext", "-layout", pdf, "-").Output()
	if err != nil || !strings.Contains(string(out), "Compression fraction") || !strings.Contains(string(out), "not a medical device") {
		t.Errorf("poppler reads %v %.300s", err, out)
	}
}

// A usual record is printed on two pages, by the review page and as a report; one of two hours with
// 2,000 events on ten and eleven: its events stand close together, in columns.
func TestPagesOfPaper(t *testing.T) {
	dir := t.TempDir()
	geometry(t, dir)
	server := served(t, web.Guard(library(t, dir), ""))
	ctx := browser(t, "about:blank")
	for name, most := range map[string][2]int{"shockable": {2, 2}, "child": {2, 2}, "two-hours": {10, 11}} {
		html := filepath.Join(dir, name+".html")
		ok(t, "report", filepath.Join(dir, name), "--out", html)
		for i, url := range []string{server.URL + "/record/" + name + "/", "file://" + html} {
			do(t, ctx, chromedp.Navigate(url))
			if i == 0 {
				do(t, ctx, arrive(`document.querySelector(".paper svg") !== null && document.querySelectorAll("#rows tr").length > 3`))
			}
			if n, err := strconv.Atoi(pagesOn(t, ctx, 8.27, 11.69)); err != nil || n > most[i] {
				t.Errorf("%s of %s is printed on %d pages (%v), want %d at most", []string{"the page", "the report"}[i], name, n, err, most[i])
			}
		}
	}
}

// In a browser, with its fonts, no two texts of the report's chart overlap and
// none is cut off, however much is called at once.
func TestReportChartInABrowser(t *testing.T) {
	var more []timeline.Event
	for k := range 30 {
		at := timeline.Seconds(float64(20 + 2*(k%15)))
		kind := []timeline.Kind{timeline.ROSC, "drug.amiodarone", timeline.RhythmVF, "drug.calcium", timeline.CompressorChange}[k%5]
		more = append(more, timeline.Event{At: at, Kind: kind, Heard: &timeline.Heard{Start: at, End: at, Decided: at, Confidence: 1}})
	}
	dir := codeRecord(t, filepath.Join(t.TempDir(), "r"), 60, more...)
	page := filepath.Join(t.TempDir(), "r.html")
	ok(t, "report", dir, "--out", page)
	ctx := browser(t, "file://"+page)
	shot(t, ctx, "report")
	got := eval[[]string](t, ctx, `(() => {
		const svg = document.querySelector("svg"), frame = svg.getBoundingClientRect(), bad = [];
		const all = [...svg.querySelectorAll("text")].map(e => [e.textContent, e.getBoundingClientRect()]);
		all.forEach(([a, r], i) => {
			if (r.left < frame.left - 1 || r.right > frame.right + 1 || r.bottom > frame.bottom + 1) bad.push(a + " is cut off");
			for (const [b, q] of all.slice(0, i))
				if (r.left < q.right && q.left < r.right && r.top + 2 < q.bottom && q.top + 2 < r.bottom) bad.push(a + " on " + b);
		});
		return all.length < 30 ? ["only " + all.length + " texts"] : bad;
	})()`)
	if len(got) > 0 {
		t.Errorf("in the chart: %q", got)
	}
}

// Chromium, as a media player, reads the WebVTT export: every cue, at its time.
func TestWebVTTInAPlayer(t *testing.T) {
	dir := codeRecord(t, filepath.Join(t.TempDir(), "r"), 60)
	vtt := ok(t, "export", dir, "--format", "webvtt")
	mux := http.NewServeMux()
	mux.HandleFunc("/a.vtt", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/vtt")
		w.Write([]byte(vtt))
	})
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html")
		w.Write([]byte(`<video><track src="a.vtt" kind="captions" default></video>`))
	})
	server := served(t, mux)
	ctx := browser(t, server.URL)
	do(t, ctx, poll(`document.querySelector("video").textTracks[0].cues && document.querySelector("video").textTracks[0].cues.length > 0`))
	const want = "4 code started|11 compressions started|29 rhythm check|33 VF|36 shock given, 200 J|40 compressions started|" +
		"49 epinephrine, 1 mg"
	if got := eval[string](t, ctx, `[...document.querySelector("video").textTracks[0].cues]
		.map(c => c.startTime + " " + c.text).join("|")`); got != want {
		t.Errorf("the player reads %s", got)
	}
}

// libsndfile reads the labels of the exported audio, amendment included and
// what was taken back left out.
func TestExportedLabels(t *testing.T) {
	if _, err := exec.LookPath("sndfile-info"); err != nil {
		t.Skip("no sndfile-info: `make test` installs it")
	}
	dir := codeRecord(t, filepath.Join(t.TempDir(), "r"), 60)
	ok(t, "amend", dir, "--do", "retract", "--event", "5", "--by", "AB", "--reason", "was sinus")
	ok(t, "amend", dir, "--do", "add", "--kind", "access.io", "--at", "0:20", "--by", "AB", "--reason", "seen")
	out := filepath.Join(t.TempDir(), "labelled")
	ok(t, "export", dir, "--format", "wav", "--out", out)
	b, err := exec.Command("sndfile-info", filepath.Join(out, recorder.PartName(0))).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, b)
	}
	if s := string(b); !strings.Contains(s, "access.io") || strings.Contains(s, "rhythm.vf") ||
		!strings.Contains(s, "shock.given energy_j=200") {
		t.Errorf("libsndfile reads %s", s)
	}
}

// The record's JSON is what the page and a script get: one parse away.
func TestExportJSON(t *testing.T) {
	dir := codeRecord(t, filepath.Join(t.TempDir(), "r"), 60)
	var doc struct {
		Started timeline.Time `json:"started"`
		Called  []figures.Figure
	}
	if err := json.Unmarshal([]byte(ok(t, "export", dir, "--format", "json")), &doc); err != nil || doc.Started != timeline.Seconds(5) {
		t.Errorf("%v %+v", err, doc)
	}
}

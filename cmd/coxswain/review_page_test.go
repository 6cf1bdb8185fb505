package main

import (
	"bufio"
	"context"
	"encoding/json"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coxswain/cmd/coxswain/web"
	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// A reviewer clicks an event and hears it from 3 s before, moves by keyboard,
// filters, changes speed, amends; two records stand side by side.
func TestReviewPage(t *testing.T) {
	a, b := codeRecord(t, filepath.Join(t.TempDir(), "first"), 60), codeRecord(t, filepath.Join(t.TempDir(), "second"), 60)
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	h, err := web.Review(reviewed(defs, notSigned), a, b)
	if err != nil {
		t.Fatal(err)
	}
	server := served(t, web.Guard(h, "a-word-of-26-letters-or-so"))
	ctx := browser(t, server.URL+"/?token=a-word-of-26-letters-or-so")
	if q := eval[string](t, ctx, `location.search`); q != "" {
		t.Errorf("the word stays in the address bar: %s", q)
	}
	do(t, ctx, chromedp.WaitVisible(`#rows button`), poll(`audio.readyState > 0 && document.querySelectorAll(".strip .wave").length === 4`))
	shot(t, ctx, "review")
	if n := eval[int](t, ctx, `document.querySelectorAll("#rows tr").length`); n != 7 {
		t.Errorf("%d events are shown, want 7", n)
	}
	do(t, ctx, chromedp.Evaluate(`audio.addEventListener("seeking", () => { window.sought = audio.currentTime; }, { once: true })`,
		nil), chromedp.Click(`//button[text()="VF"]`), poll(`window.sought !== undefined`))
	if x := eval[float64](t, ctx, `sought`); x < 29.9 || x > 30.1 { // the phrase begins at 33 s
		t.Errorf("clicked on the event at 33 s: hears from %v s", x)
	}
	if !eval[bool](t, ctx, `!audio.paused && audio.preservesPitch`) {
		t.Error("it does not play")
	}
	do(t, ctx, chromedp.Evaluate(`document.activeElement.blur()`, nil), chromedp.KeyEvent("2"), chromedp.KeyEvent(" "),
		chromedp.KeyEvent(kb.Home), chromedp.KeyEvent(kb.ArrowRight))
	if got := eval[[]float64](t, ctx, `[audio.playbackRate, audio.paused ? 1 : 0, Math.round(at)]`); got[0] != 2 || got[1] != 1 ||
		got[2] != 5 {
		t.Errorf("after the keys: speed %v, paused %v, at %v s", got[0], got[1], got[2])
	}
	do(t, ctx, chromedp.KeyEvent("n"))
	if x := eval[float64](t, ctx, `Math.round(at)`); x != 8 {
		t.Errorf("next event from 5 s: at %v s, want 8", x)
	}
	do(t, ctx, chromedp.Evaluate(`document.querySelector("#filters input[value=system]").click()`, nil))
	if n := eval[int](t, ctx, `document.querySelectorAll("#rows tr").length`); n != 9 {
		t.Errorf("%d events with the system's own, want 9", n)
	}
	do(t, ctx, chromedp.SendKeys(`#find`, "epi"))
	if n := eval[int](t, ctx, `document.querySelectorAll("#rows tr").length`); n != 1 {
		t.Errorf("%d events with epi, want 1", n)
	}
	do(t, ctx, chromedp.Evaluate(`$("find").value = ""; $("find").oninput()`, nil))
	zoomOnPage(t, ctx)
	amendOnPage(t, ctx)
	if text := eval[string](t, ctx, `document.querySelector("#numbers").innerText`); !strings.Contains(text, "second") ||
		!strings.Contains(text, "first, as amended") || !strings.Contains(text, "first, as called") {
		t.Error("the figures do not compare both records")
	}
	controlsAreNamed(t, ctx)
	do(t, ctx, byKeys(`[aria-label="Position in second"]`, "n"), poll(`$("listed").textContent === "Events of second" && at > 0`),
		byKeys(`#figures summary`, kb.Enter), poll(`document.querySelector("#figures details").open`))
	shot(t, ctx, "review-amended")
	ok(t, "verify", a)
}

// controlsAreNamed holds every control to a name for a screen reader.
func controlsAreNamed(t *testing.T, ctx context.Context) {
	t.Helper()
	nameless := eval[int](t, ctx, `[...document.querySelectorAll("button, input, select")].filter(e =>
		!(e.textContent.trim() || e.getAttribute("aria-label") ||
			e.closest("label") && e.closest("label").textContent.trim())).length`)
	if nameless != 0 {
		t.Errorf("%d controls have no name for a screen reader", nameless)
	}
}

// zoomOnPage looks nearer, down to 5 s and no further, and back at the whole; the
// axis is always there.
func zoomOnPage(t *testing.T, ctx context.Context) {
	t.Helper()
	do(t, ctx, chromedp.Evaluate(`for (let i = 0; i < 20; i++) course.zoom(0.5)`, nil),
		poll(`document.querySelector(".strip svg").dataset.to - document.querySelector(".strip svg").dataset.from < 5.1`))
	if x := eval[float64](t, ctx, `course.span()`); x != 5 {
		t.Errorf("the nearest look is %v s, want 5", x)
	}
	if n := eval[int](t, ctx, `[...document.querySelector(".strip svg").querySelectorAll("text")]
		.filter(e => /^-?[0-9]+:[0-9][0-9]$/.test(e.textContent)).length`); n < 4 {
		t.Errorf("%d times on the axis of 5 s", n)
	}
	shot(t, ctx, "review-near")
	do(t, ctx, chromedp.Evaluate(`document.activeElement.blur()`, nil), chromedp.KeyEvent("0"),
		poll(`document.querySelector(".strip svg").dataset.to - document.querySelector(".strip svg").dataset.from > 50`))
}

// amendOnPage moves the shock in its row, by the keyboard alone, and reads the new figures.
func amendOnPage(t *testing.T, ctx context.Context) {
	t.Helper()
	do(t, ctx, byKeys(`[aria-label="Change shock given, 200 J"]`, kb.Enter), byKeys(`input[name="at"]`, "0:33"),
		byKeys(`input[name="by"]`, "AB"), byKeys(`input[name="reason"]`, "monitor log"))
	if label := eval[string](t, ctx, `document.querySelector("tr.form .values").textContent`); label != "Energy in J " {
		t.Errorf("the energy of a shock is asked for as %q", label)
	}
	shot(t, ctx, "review-change")
	do(t, ctx, byKeys(`tr.form button[value="save"]`, kb.Enter), poll(`rec.amended`))
	get := `f => [rec.as_called, rec.as_amended].map(l => l.find(x => x.id === "pre_shock_pause").value)`
	if got := eval[[]float64](t, ctx, "("+get+")()"); len(got) != 2 || got[0] != 7 || got[1] != 8 {
		t.Errorf("pre-shock pause as called and as amended: %v, want 7 and 8", got)
	}
	if n := eval[int](t, ctx, `document.querySelectorAll("#figures tr:first-child .big").length`); n != 2 {
		t.Errorf("%d values of a figure are large, want those of both records", n)
	}
}

// A record in which no code was called counts from its own start and says so; one without sound has
// nothing to play and says that too, however it is asked for.
func TestRecordWithoutCodeOrSound(t *testing.T) {
	dir := t.TempDir()
	silentRecord(t, filepath.Join(dir, "note"), 2, "30 note")
	ctx := browser(t, served(t, web.Guard(library(t, dir), "")).URL+"/record/note/")
	do(t, ctx, arrive(`document.querySelectorAll(".strip svg").length === 1 && $("play").disabled`), chromedp.KeyEvent(" "))
	const want = "Record 0:00, clock 14:00:00|Record|No sound|record"
	if got := eval[string](t, ctx, `[$("clock").textContent, $("since").textContent, $("play").textContent,
		[...document.querySelectorAll(".strip text")].map(e => e.textContent).find(x => /^(record|code)$/.test(x))].join("|")`); got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// A record that was cut off says so where it is read first, and not at its foot.
func TestUnfinishedRecordSaysSo(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "cut")
	silentRecord(t, dir, 8, "5 code.start", "8 compressions.start", "30 rhythm.check")
	path := filepath.Join(dir, record.JournalName)
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b[:len(b)-150], 0o600); err != nil {
		t.Fatal(err)
	}
	h, err := web.Review(reviewed(nil, notSigned), dir)
	if err != nil {
		t.Fatal(err)
	}
	ctx := browser(t, served(t, web.Guard(h, "")).URL)
	do(t, ctx, arrive(`document.querySelectorAll("#rows tr").length > 0`))
	text := eval[string](t, ctx, `$("unfinished").checkVisibility() ? $("unfinished").innerText : ""`)
	if !strings.HasPrefix(text, "Not whole: the session was cut off") || !strings.Contains(text, "coxswain mend") {
		t.Errorf("it says %q", text)
	}
}

// Another site's form cannot amend, and nothing outside the records is served.
func TestReviewRefuses(t *testing.T) {
	dir := codeRecord(t, filepath.Join(t.TempDir(), "r"), 5)
	defs, _ := figures.Definitions()
	h, err := web.Review(reviewed(defs, notSigned), dir)
	if err != nil {
		t.Fatal(err)
	}
	server := served(t, web.Guard(h, ""))
	body := `{"do":"retract","seq":4,"by":"AB","reason":"x"}`
	for _, c := range []struct {
		method, path, kind, origin string
		want                       int
	}{
		{"POST", "/api/amend/0", "text/plain", "", 403},
		{"POST", "/api/amend/0", "application/json", "http://elsewhere.example", 403},
		{"POST", "/api/amend/1", "application/json", "", 404},
		{"GET", "/audio/0/1", "", "", 404},
		{"GET", "/audio/0/..%2f..%2fevents.jsonl", "", "", 404},
		{"GET", "/api/course/-1", "", "", 404},
		{"GET", "/api/course/0?from=0&to=NaN&width=800", "", "", 400},
		{"GET", "/api/course/0?from=-1e9&to=1&width=800", "", "", 400},
		{"GET", "/api/course/0?from=0&to=5&width=1e6", "", "", 200},
		{"POST", "/api/amend/0", "application/json", server.URL, 200},
		{"POST", "/api/amend/0", "application/json", server.URL, 400}, // taken back already
	} {
		r, err := http.NewRequest(c.method, server.URL+c.path, strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", c.kind)
		if c.origin != "" {
			r.Header.Set("Origin", c.origin)
		}
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		if resp.StatusCode != c.want {
			t.Errorf("%s %s from %q: %s, want %d", c.method, c.path, c.origin, resp.Status, c.want)
		}
	}
}

// A record of two hours is on the page within a second: its figures and events
// from a journal of 2,000 lines, its waveform from the peak file.
func BenchmarkReviewOfTwoHours(b *testing.B) {
	events := []timeline.Event{{Seq: 1, Kind: timeline.SessionOpen,
		Session: &timeline.Session{Wall: "2026-03-01T14:00:00Z", Rate: timeline.Rate}}}
	for k := range 2000 {
		at := timeline.Seconds(float64(k) * 3.6)
		events = append(events, timeline.Event{Seq: uint64(k + 2), At: at, Kind: timeline.Callouts[k%len(timeline.Callouts)],
			Heard: &timeline.Heard{Start: at, End: at, Confidence: 0.7 + float64(k%30)/100}})
	}
	defs, err := figures.Definitions()
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := json.Marshal(review.Of(events, defs)); err != nil {
			b.Fatal(err)
		}
	}
}

// The page that the command serves is private: another user of this machine, who
// knows the port and not the word, sees, hears and amends nothing.
func TestReviewIsPrivate(t *testing.T) {
	dir := codeRecord(t, filepath.Join(t.TempDir(), "r"), 5)
	cmd := coxswainCommand(t, "review", dir, "--listen", "127.0.0.1:0")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { cmd.Process.Kill(); cmd.Wait() }()
	var address string
	for lines := bufio.NewScanner(out); lines.Scan(); {
		if address = lines.Text(); strings.HasPrefix(address, "http://") {
			break
		}
	}
	base, token, ok := strings.Cut(address, "?token=")
	if !ok || len(token) < 20 {
		t.Fatalf("the command prints %q", address)
	}
	status := func(method, path, bearer string) int {
		r, err := http.NewRequest(method, base+path, strings.NewReader(`{"do":"retract","seq":4,"by":"AB","reason":"x"}`))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "application/json")
		if bearer != "" {
			r.Header.Set("Authorization", "Bearer "+bearer)
		}
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			t.Fatal(err)
		}
		resp.Body.Close()
		return resp.StatusCode
	}
	for _, c := range [][2]string{{"GET", ""}, {"GET", "api/records"}, {"GET", "audio/0/0"}, {"POST", "api/amend/0"}} {
		if got := status(c[0], c[1], ""); got != 401 {
			t.Errorf("%s /%s without the word: %d", c[0], c[1], got)
		}
		if got := status(c[0], c[1], token); got != 200 {
			t.Errorf("%s /%s with it: %d", c[0], c[1], got)
		}
	}
}

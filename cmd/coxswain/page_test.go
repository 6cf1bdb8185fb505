package main

import (
	"bufio"
	"context"
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coxswain/audio"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/paper"
	"coxswain/cmd/coxswain/session"
	"coxswain/cmd/coxswain/web"
	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// browser opens a page in headless Chromium; an exception in the page fails
// the test.
func browser(t *testing.T, url string) context.Context {
	t.Helper()
	path := paper.FindChromium()
	if path == "" {
		t.Skip("no Chromium: `make test` installs it")
	}
	alloc, cancel := chromedp.NewExecAllocator(t.Context(), append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("autoplay-policy", "no-user-gesture-required"), chromedp.WindowSize(1500, 1300), chromedp.WSURLReadTimeout(patience))...)
	t.Cleanup(cancel)
	ctx, stop := chromedp.NewContext(alloc)
	t.Cleanup(stop)
	ctx, late := context.WithTimeout(ctx, 2*patience)
	t.Cleanup(late)
	chromedp.ListenTarget(ctx, func(ev any) {
		if e, ok := ev.(*runtime.EventExceptionThrown); ok {
			t.Errorf("the page threw: %s", e.ExceptionDetails)
		}
	})
	if err := chromedp.Run(ctx, chromedp.Navigate(url)); err != nil {
		t.Fatal(err)
	}
	return ctx
}

// do runs actions in the page.
func do(t *testing.T, ctx context.Context, actions ...chromedp.Action) {
	t.Helper()
	if err := chromedp.Run(ctx, actions...); err != nil {
		t.Fatal(err)
	}
}

// poll waits until an expression in the page is true.
func poll(js string) chromedp.Action {
	return chromedp.Poll(js, nil, chromedp.WithPollingTimeout(patience))
}

// eval returns what an expression in the page is.
func eval[T any](t *testing.T, ctx context.Context, js string) T {
	t.Helper()
	var out T
	do(t, ctx, chromedp.Evaluate(js, &out))
	return out
}

// shot saves what the page looks like, if COXSWAIN_SHOTS names a folder.
func shot(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv("SHOTS")
	if dir == "" {
		return
	}
	var png []byte
	do(t, ctx, chromedp.FullScreenshot(&png, 100))
	os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644)
}

// codeRecord writes a record of a short code, with sound of so many seconds.
func codeRecord(t *testing.T, dir string, seconds int, more ...timeline.Event) string {
	t.Helper()
	wall := time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC)
	w, err := record.Begin(dir, wall)
	if err != nil {
		t.Fatal(err)
	}
	events := []timeline.Event{{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: wall.Format(time.RFC3339Nano), Rate: timeline.Rate, Software: "test", Protocol: "aha-2020 x", Recogniser: "scripted", Source: "test", Caution: Caution}}}
	call := func(at float64, kind timeline.Kind, sure float64, values map[string]float64) {
		end := timeline.Seconds(at)
		events = append(events, timeline.Event{At: end, Kind: kind, Values: values, Heard: &timeline.Heard{Start: end - timeline.Rate, End: end, Decided: end + timeline.Rate/4, Text: string(kind), Confidence: sure}})
	}
	call(5, timeline.CodeStart, 0.98, nil)
	call(12, timeline.CompressionsStart, 0.97, nil)
	call(30, timeline.RhythmCheck, 0.99, nil)
	call(34, timeline.RhythmVF, 0.9, nil)
	call(37, timeline.ShockGiven, 0.95, map[string]float64{"energy_j": 200})
	call(41, timeline.CompressionsStart, 0.9, nil)
	call(50, timeline.Epinephrine, 0.66, map[string]float64{"dose_mg": 1})
	events = append(append(events, more...), timeline.Event{At: timeline.Seconds(float64(seconds)), Kind: timeline.SessionClose})
	room, speaker := make([]float32, audio.Block), make([]float32, audio.Block)
	for k := range seconds * 100 {
		for i := range room {
			room[i], speaker[i] = float32(k%37)/200, float32(k%55/50)/4
		}
		if err := w.Sound.Write(room, speaker); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Sound.Close(); err != nil {
		t.Fatal(err)
	}
	for _, e := range events {
		if _, err := w.Journal.Append(e); err != nil {
			t.Fatal(err)
		}
	}
	w.Journal.Close()
	return dir
}

// A reviewer clicks an event and hears it from 3 s before, moves by keyboard,
// filters, changes speed, amends; two records stand side by side.
func TestReviewPage(t *testing.T) {
	a, b := codeRecord(t, filepath.Join(t.TempDir(), "first"), 60), codeRecord(t, filepath.Join(t.TempDir(), "second"), 60)
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	h, err := web.Review(reviewed(defs, nil), a, b)
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(web.Guard(h, "a-word-of-26-letters-or-so"))
	defer server.Close()
	ctx := browser(t, server.URL+"/?token=a-word-of-26-letters-or-so")
	if q := eval[string](t, ctx, `location.search`); q != "" {
		t.Errorf("the word stays in the address bar: %s", q)
	}
	do(t, ctx, chromedp.WaitVisible(`#rows button`), poll(`audio.readyState > 0 && document.querySelectorAll(".strip .wave").length === 4`))
	shot(t, ctx, "review")
	if n := eval[int](t, ctx, `document.querySelectorAll("#rows tr").length`); n != 7 {
		t.Errorf("%d events are shown, want 7", n)
	}
	do(t, ctx, chromedp.Evaluate(`audio.addEventListener("seeking", () => { window.sought = audio.currentTime; }, { once: true })`, nil), chromedp.Click(`//button[text()="VF"]`), poll(`window.sought !== undefined`))
	if x := eval[float64](t, ctx, `sought`); x < 29.9 || x > 30.1 { // the phrase begins at 33 s
		t.Errorf("clicked on the event at 33 s: hears from %v s", x)
	}
	if !eval[bool](t, ctx, `!audio.paused && audio.preservesPitch`) {
		t.Error("it does not play")
	}
	do(t, ctx, chromedp.Evaluate(`document.activeElement.blur()`, nil), chromedp.KeyEvent("2"), chromedp.KeyEvent(" "), chromedp.KeyEvent(kb.Home), chromedp.KeyEvent(kb.ArrowRight))
	if got := eval[[]float64](t, ctx, `[audio.playbackRate, audio.paused ? 1 : 0, Math.round(at)]`); got[0] != 2 || got[1] != 1 || got[2] != 5 {
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
	if text := eval[string](t, ctx, `document.querySelector("#numbers").innerText`); !strings.Contains(text, "second") || !strings.Contains(text, "as amended") {
		t.Error("the figures do not compare both records")
	}
	nameless := eval[int](t, ctx, `[...document.querySelectorAll("button, input, select")].filter(e => !(e.textContent.trim() || e.getAttribute("aria-label") || e.closest("label") && e.closest("label").textContent.trim())).length`)
	if nameless != 0 {
		t.Errorf("%d controls have no name for a screen reader", nameless)
	}
	shot(t, ctx, "review-amended")
	ok(t, "verify", a)
}

// zoomOnPage looks nearer, down to 5 s and no further, and back at the whole; the
// axis is always there.
func zoomOnPage(t *testing.T, ctx context.Context) {
	t.Helper()
	do(t, ctx, chromedp.Evaluate(`for (let i = 0; i < 20; i++) course.zoom(0.5)`, nil), poll(`document.querySelector(".strip svg").dataset.to - document.querySelector(".strip svg").dataset.from < 5.1`))
	if x := eval[float64](t, ctx, `course.span()`); x != 5 {
		t.Errorf("the nearest look is %v s, want 5", x)
	}
	if n := eval[int](t, ctx, `[...document.querySelector(".strip svg").querySelectorAll("text")].filter(e => /^-?[0-9]+:[0-9][0-9]$/.test(e.textContent)).length`); n < 4 {
		t.Errorf("%d times on the axis of 5 s", n)
	}
	shot(t, ctx, "review-near")
	do(t, ctx, chromedp.Evaluate(`document.activeElement.blur()`, nil), chromedp.KeyEvent("0"), poll(`document.querySelector(".strip svg").dataset.to - document.querySelector(".strip svg").dataset.from > 50`))
}

// amendOnPage moves the shock in its row and reads the new figures.
func amendOnPage(t *testing.T, ctx context.Context) {
	t.Helper()
	do(t, ctx, chromedp.Click(`[aria-label="Change shock given, 200 J"]`), chromedp.SetValue(`input[name="at"]`, "0:33"),
		chromedp.SendKeys(`input[name="by"]`, "AB"), chromedp.SendKeys(`input[name="reason"]`, "monitor log"))
	shot(t, ctx, "review-change")
	do(t, ctx, chromedp.Click(`tr.form button[value="save"]`), poll(`rec.amended`))
	get := `f => [rec.as_called, rec.as_amended].map(l => l.find(x => x.id === "pre_shock_pause").value)`
	if got := eval[[]float64](t, ctx, "("+get+")()"); len(got) != 2 || got[0] != 7 || got[1] != 8 {
		t.Errorf("pre-shock pause as called and as amended: %v, want 7 and 8", got)
	}
}

// Another site's form cannot amend, and nothing outside the records is served.
func TestReviewRefuses(t *testing.T) {
	dir := codeRecord(t, filepath.Join(t.TempDir(), "r"), 5)
	defs, _ := figures.Definitions()
	h, err := web.Review(reviewed(defs, nil), dir)
	if err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(web.Guard(h, ""))
	defer server.Close()
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

// The wall display shows what is next, the cycle, what was given, and says when
// it is cut off.
func TestWallDisplay(t *testing.T) {
	var box session.Box
	code, left, paused := 125.0, 40.0, 7.4
	n := &session.Snapshot{Caution: Caution, State: "compressing", Rhythm: "VF", Code: &code, CycleLeft: &left, Cycle: 120,
		Given: []session.Given{{Name: "shocks", Count: 2, Ago: 65}, {Name: "epinephrine", Count: 1, Ago: 130}},
		Due:   []session.Due{{Text: "Epinephrine due.", In: 55.2}}, Last: []session.Heard{{Ago: 12, Text: "shock given, 200 J", Sure: 0.9}},
		Recogniser: "hears", Sound: "whole", Saving: true, Healthy: true, Microphone: -48}
	box.Store(n)
	server := httptest.NewServer(web.Guard(monitor.Handler(monitor.Watched{Latest: &box, Turns: func() int64 { return 1 }}), "a-word-of-26-letters-or-so"))
	defer server.Close()
	ctx := browser(t, server.URL+"/?token=a-word-of-26-letters-or-so")
	do(t, ctx, poll(`document.querySelector("#code").textContent === "code 2:05"`))
	shot(t, ctx, "wall")
	wallSays(t, ctx, map[string]string{"what": "Epinephrine due.", "when": "in 0:55", "cycle": "Cycle 0:40 left", "state": "compressing, VF",
		"given": "2 shocks1:05 ago1 epinephrine2:10 ago", "heard": "“shock given, 200 J” 0:12 ago", "loud": "", "ill": "", "caution": Caution})
	// Legible at 5 m: what is next is the largest; nothing that matters is under a
	// thirtieth of the screen high (common practice, no source).
	sizes := eval[[]float64](t, ctx, `["what", "when", "state", "cycle", "given", "heard"].map(i => parseFloat(getComputedStyle($(i)).fontSize) / innerHeight)`)
	for i, s := range sizes {
		if i > 0 && s >= sizes[0] || s < 1.0/30 {
			t.Errorf("size %d of the wall is %.3f of the screen high; the largest must be the first: %.3f", i, s, sizes[0])
		}
	}
	if c := eval[int](t, ctx, `document.querySelectorAll("button, input, a, select").length`); c != 0 {
		t.Errorf("%d controls on a display", c)
	}
	places := `["state", "what", "cycle", "done", "heard"].map(i => { const r = $(i).getBoundingClientRect(); return [r.left, r.top].join() }).join(" ")`
	before := eval[string](t, ctx, places)
	other, long := *n, 3601.0
	other.Code, other.Loud, other.Microphone = &long, true, -20
	box.Store(&other)
	do(t, ctx, poll(`$("code").textContent === "code 60:01"`))
	wallSays(t, ctx, map[string]string{"loud": "loud"})
	if after := eval[string](t, ctx, places); after != before {
		t.Errorf("things moved when numbers changed: %s, then %s", before, after)
	}
	ill := *n
	ill.Paused, ill.Recogniser, ill.Healthy = &paused, "failed", false
	box.Store(&ill)
	do(t, ctx, poll(`$("ill").textContent === "CANNOT HEAR"`))
	wallSays(t, ctx, map[string]string{"cycle": "Hands off 7 s"})
	wallContrast(t, ctx)
	shot(t, ctx, "wall-ill")
	server.CloseClientConnections()
	server.Listener.Close()
	do(t, ctx, poll(`$("ill").textContent === "DISPLAY LOST COXSWAIN"`))
}

// wallSays holds texts of the wall display to what is wanted.
func wallSays(t *testing.T, ctx context.Context, want map[string]string) {
	t.Helper()
	for id, text := range want {
		if got := eval[string](t, ctx, `$("`+id+`").textContent`); got != text {
			t.Errorf("%s: %q, want %q", id, got, text)
		}
	}
}

// wallContrast computes the contrast of every text with what lies behind it
// (WCAG 2.2, success criterion 1.4.6: 7 to 1).
func wallContrast(t *testing.T, ctx context.Context) {
	t.Helper()
	worst := eval[float64](t, ctx, `(() => {
		const lum = c => { const v = c.match(/[0-9.]+/g).slice(0, 3).map(x => x / 255).map(x => x <= 0.03928 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4); return 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2]; };
		const ground = e => { for (; e; e = e.parentElement) { const c = getComputedStyle(e).backgroundColor; if (!/, 0\)$/.test(c)) return c; } return "rgb(16,22,28)"; };
		const pairs = ["state", "code", "what", "when", "heard", "ill", "caution"].map(i => [getComputedStyle($(i)).color, ground($(i))]);
		pairs.push([getComputedStyle($("cycle")).color, getComputedStyle($("bar")).backgroundColor]);
		return Math.min(...pairs.map(([a, b]) => { const x = lum(a), y = lum(b); return (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05); }));
	})()`)
	if worst < 7 {
		t.Errorf("the least contrast is %.1f to 1, want 7", worst)
	}
}

// A record of two hours is on the page within a second: its figures and events
// from a journal of 2,000 lines, its waveform from the peak file.
func BenchmarkReviewOfTwoHours(b *testing.B) {
	events := []timeline.Event{{Seq: 1, Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: "2026-03-01T14:00:00Z"}}}
	for k := range 2000 {
		at := timeline.Seconds(float64(k) * 3.6)
		events = append(events, timeline.Event{Seq: uint64(k + 2), At: at, Kind: timeline.Callouts[k%len(timeline.Callouts)], Heard: &timeline.Heard{Start: at, End: at, Confidence: 0.7 + float64(k%30)/100}})
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

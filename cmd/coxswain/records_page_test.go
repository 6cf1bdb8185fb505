package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coxswain/cmd/coxswain/web"
	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// library serves the page over a folder of records.
func library(tb testing.TB, dir string) http.Handler {
	tb.Helper()
	defs, err := figures.Definitions()
	if err != nil {
		tb.Fatal(err)
	}
	return web.Library(review.NewIndex(dir, defs), reviewed(defs, notSigned), defs, nil)
}

// drillRecord writes the record of a drill of a team that does little.
func drillRecord(tb testing.TB, dir, team string, wall time.Time, calls ...timeline.Kind) {
	tb.Helper()
	w, err := record.Begin(dir, wall)
	if err != nil {
		tb.Fatal(err)
	}
	defer w.Journal.Close()
	defer w.Sound.Close()
	events := []timeline.Event{{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: wall.Format(time.RFC3339Nano),
		Rate: timeline.Rate, Protocol: "aha-2025 x", Caution: Caution, Drill: &timeline.Drill{Case: "shockable", Team: team}}}}
	for i, k := range calls {
		at := timeline.Seconds(float64(4 * (i + 1)))
		events = append(events, timeline.Event{At: at, Kind: k, Heard: &timeline.Heard{Start: at, End: at, Decided: at, Confidence: 1}})
	}
	for _, e := range append(events, timeline.Event{At: timeline.Seconds(200), Kind: timeline.SessionClose}) {
		if _, err := w.Journal.Append(e); err != nil {
			tb.Fatal(err)
		}
	}
}

// A reviewer searches and filters, opens a record and comes back, compares two,
// sees run charts and how a team does; the keyboard alone is enough.
func TestRecordsPage(t *testing.T) {
	dir := t.TempDir()
	manyRecords(t, dir, 240)
	for k, calls := range [][]timeline.Kind{{timeline.CodeStart}, {timeline.CodeStart, timeline.CompressionsStart}} {
		wall := time.Date(2026, 5, 1+k, 9, 0, 0, 0, time.UTC)
		drillRecord(t, filepath.Join(dir, fmt.Sprintf("2026-05-0%d", 1+k)), "Night <b>shift", wall, calls...)
	}
	server := served(t, web.Guard(library(t, dir), "a-word-of-26-letters-or-so"))
	ctx := browser(t, server.URL+"/?token=a-word-of-26-letters-or-so")
	shown := func(want int) chromedp.Action {
		return arrive(fmt.Sprintf(`document.querySelectorAll("#rows a").length === %d`, want))
	}
	do(t, ctx, shown(100), poll(`$("count").textContent === "242 records"`))
	shot(t, ctx, "records")
	const first = "true|false|not called\nCollapse on the ward: 11 of 21 points, Night <b>shift"
	if got := eval[string](t, ctx, `[$("newer").hidden, $("older").hidden,
		document.querySelector("#rows td.words").innerText].join("|")`); got != first {
		t.Errorf("newer and older, and the outcome of a drill: %q", got)
	}
	do(t, ctx, chromedp.KeyEvent("f"), poll(`document.activeElement.name === "search"`),
		chromedp.Evaluate(`document.activeElement.value = ""`, nil), chromedp.SendKeys(`[name="search"]`, "2024-03 vf"), shown(10))
	if n := eval[string](t, ctx, `$("count").textContent`); n != "10 of 242 records" {
		t.Errorf("a search says %q", n)
	}
	do(t, ctx, chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.ArrowDown), chromedp.KeyEvent(kb.Enter),
		arrive(`location.pathname.startsWith("/record/2024-03") && document.querySelectorAll("#rows tr").length > 10`),
		byKeys(`#list`, kb.Enter), arrive(`location.pathname === "/"`), shown(10)) // what was asked for is still there
	do(t, ctx, byKeys(`#rows tr:nth-child(1) input`, " "), byKeys(`#rows tr:nth-child(2) input`, " "), byKeys(`#compare`, kb.Enter),
		arrive(`location.pathname.startsWith("/pair/") && document.querySelectorAll(".strip svg").length === 2`),
		chromedp.NavigateBack(), shown(10))
	do(t, ctx, byKeys(`[type="reset"]`, kb.Enter), shown(100), byKeys(`[data-view="charts"]`, kb.Enter),
		poll(`document.body.dataset.shown === "charts" && document.querySelectorAll("#drawn svg").length > 9`))
	shot(t, ctx, "records-charts")
	chartsOnPaper(t, ctx)
	do(t, ctx, byKeys(`[data-view="drills"]`, kb.Enter), poll(`document.querySelectorAll("#teams svg").length === 1`))
	shot(t, ctx, "records-drills")
	if text := eval[string](t, ctx, `$("teams").textContent`); !strings.Contains(text, "Night <b>shift") ||
		!strings.Contains(text, "compressions") || strings.Count(text, " points") < 2 {
		t.Errorf("the drills of the team: %s", text)
	}
}

// chartsOnPaper holds what is printed from a telephone to the width of a sheet: the letters of a chart
// are as large there as those around it, not twice, and it is no stamp.
func chartsOnPaper(t *testing.T, ctx context.Context) {
	t.Helper()
	for _, night := range []string{"dark", "light"} { // a usual month is an empty ring; a full square is one that chance does not explain
		do(t, ctx, theme(night))
		if ring := eval[string](t, ctx, `getComputedStyle(document.querySelector("#drawn circle")).fill`); ring !=
			eval[string](t, ctx, `getComputedStyle(document.documentElement).backgroundColor`) {
			t.Errorf("%s: a ring is filled with %s", night, ring)
		}
	}
	do(t, ctx, chromedp.EmulateViewport(420, 900), poll(`document.querySelectorAll("#drawn .paper svg").length > 9`),
		emulation.SetEmulatedMedia().WithMedia("print"), chromedp.EmulateViewport(718, 1000))
	off := eval[[]string](t, ctx, `[...document.querySelectorAll("#drawn svg")].filter(s => s.checkVisibility())
		.map(s => [s.getBoundingClientRect().width / s.viewBox.baseVal.width, s.viewBox.baseVal.width])
		.filter(([scale, wide]) => scale < 0.9 || scale > 1.3 || wide < 500).map(x => x.join())`)
	shown := eval[int](t, ctx, `[...document.querySelectorAll("#drawn svg")].filter(s => s.checkVisibility()).length`)
	if shown < 10 || len(off) > 0 {
		t.Errorf("%d charts are printed from a telephone; scale and width of those that are off: %q", shown, off)
	}
	do(t, ctx, emulation.SetEmulatedMedia(), chromedp.EmulateViewport(1500, 1300))
}

// That there is nothing to list is told on paper too.
func TestNoRecordsOnPaper(t *testing.T) {
	ctx := browser(t, served(t, web.Guard(library(t, t.TempDir()), "")).URL)
	do(t, ctx, arrive(`document.querySelectorAll("#rows tr").length === 1`), emulation.SetEmulatedMedia().WithMedia("print"))
	if text := eval[string](t, ctx, `document.querySelector("#lines").innerText`); !strings.Contains(text, "There are no records yet.") {
		t.Errorf("the printed list says %q", text)
	}
}

// A record that is added, amended or deleted while the page is open shows so; a
// name that is none opens nothing.
func TestRecordsPageIsUpToDate(t *testing.T) {
	dir := t.TempDir()
	first := codeRecord(t, filepath.Join(dir, "first"), 5)
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	x := review.NewIndex(dir, defs)
	see := func(want ...string) {
		t.Helper()
		x.Forget("") // look now
		lines, _, err := x.Lines()
		var got []string
		for _, l := range lines {
			got = append(got, fmt.Sprintf("%s %v", l.Name, l.Amended))
		}
		if err != nil || strings.Join(got, ", ") != strings.Join(want, ", ") {
			t.Errorf("%v: %q, want %q", err, got, want)
		}
	}
	see("first false")
	codeRecord(t, filepath.Join(dir, "second"), 5)
	see("second false", "first false")
	ok(t, "amend", first, "--do", "retract", "--event", "5", "--by", "AB", "--reason", "was sinus")
	see("second false", "first true")
	os.RemoveAll(filepath.Join(dir, "second"))
	see("first true")
	for path, want := range map[string]int{"/record/first/": 200, "/record/first/api/records": 200, "/record/second/": 404,
		"/record/..%2ffirst/": 404, "/pair/first/first/api/records": 200, "/api/list?skip=-5&from=x": 200, "/api/list?skip=99999": 200} {
		w := httptest.NewRecorder()
		library(t, dir).ServeHTTP(w, httptest.NewRequest("GET", path, nil))
		if w.Code != want {
			t.Errorf("%s: %d, want %d", path, w.Code, want)
		}
	}
}

// BenchmarkRecordsPage asks a page over 10,000 records for what it shows.
func BenchmarkRecordsPage(b *testing.B) {
	dir := b.TempDir()
	manyRecords(b, dir, 10000)
	defs, err := figures.Definitions()
	if err != nil {
		b.Fatal(err)
	}
	index := review.NewIndex(dir, defs)
	h := web.Library(index, reviewed(defs, notSigned), defs, nil)
	b.Run("first answer", func(b *testing.B) { // nothing is read yet
		for b.Loop() {
			w := httptest.NewRecorder()
			web.Library(review.NewIndex(dir, defs), reviewed(defs, notSigned), defs, nil).
				ServeHTTP(w, httptest.NewRequest("GET", "/api/list", nil))
			if !strings.Contains(w.Body.String(), `"unread":`) {
				b.Fatal(w.Body)
			}
		}
	})
	if _, _, err := index.Lines(); err != nil {
		b.Fatal(err)
	}
	for _, path := range []string{"/api/list", "/api/list?search=2024-03+vf&rhythm=VF", "/api/charts", "/api/progress"} {
		b.Run(path, func(b *testing.B) {
			for b.Loop() {
				index.Forget("") // the folder is looked at anew each time
				w := httptest.NewRecorder()
				h.ServeHTTP(w, httptest.NewRequest("GET", path, nil))
				if !json.Valid(w.Body.Bytes()) {
					b.Fatal(io.ReadAll(w.Body))
				}
			}
		})
	}
}

// notSigned amends without a key, held to nothing but an amendment's own bounds.
func notSigned(dir string, change timeline.Change) error {
	return record.Amend(dir, change, nil, time.Now(), nil)
}

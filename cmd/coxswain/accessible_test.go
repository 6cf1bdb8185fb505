package main

import (
	"bytes"
	"compress/gzip"
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"coxswain/cmd/coxswain/session"
	"coxswain/cmd/coxswain/web"
	"coxswain/timeline"
)

// axe-core 4.10.3 (Deque Systems, MPL-2.0, its axe.min.js unchanged, from npm; source:
// github.com/dequelabs/axe-core) looks at a page as WCAG 2.2 wants it. Only this test
// uses it.
//
//go:embed testdata/axe-core-4.10.3.min.js.gz
var axeCore []byte

// theme has the page drawn as it is for whoever likes it light or dark.
func theme(name string) chromedp.Action {
	return emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}})
}

// atPage opens a page and brings it to where it is looked at.
type atPage struct {
	name, url string
	then      []chromedp.Action
}

// printed writes what is printed from a record into a folder.
func printed(t *testing.T, rec string) (dir string) {
	t.Helper()
	dir = t.TempDir()
	ok(t, "callouts", "--page", filepath.Join(dir, "card.html"), "--list", filepath.Join(dir, "list.html"))
	ok(t, "report", rec, "--out", filepath.Join(dir, "report.html"))
	return dir
}

// everyPage serves records, two wall displays and what is printed, and lists the
// pages with what is done on each before it is looked at.
func everyPage(t *testing.T) []atPage {
	t.Helper()
	records := t.TempDir()
	manyRecords(t, records, 24)
	drillRecord(t, filepath.Join(records, "drill"), "Night", time.Date(2026, 5, 1, 9, 0, 0, 0, time.UTC), timeline.CodeStart)
	code := codeRecord(t, filepath.Join(records, "code"), 60)
	ok(t, "amend", code, "--do", "retract", "--event", "5", "--by", "AB", "--reason", "was sinus")
	serve := func(h http.Handler) string {
		return served(t, web.Guard(h, "")).URL
	}
	lib, drill, paper := serve(library(t, records)), serve(drillPage(t, t.TempDir())), "file://"+printed(t, code)
	paused, since := 8.2, 4.0
	well := wallOf(125, 40)
	bad := *well
	bad.Paused, bad.Unclear, bad.Loud, bad.Recogniser, bad.State = &paused, &since, true, "failed", "hands off"
	wall := func(n *session.Snapshot) string {
		var box session.Box
		box.Store(n)
		return serve(web.Wall(&box))
	}
	drawn := poll(`audio.readyState > 0 && document.querySelectorAll(".strip .wave").length > 1`)
	rows := arrive(`document.querySelectorAll("#rows a").length > 9`)
	return []atPage{
		{"review, changing", lib + "/record/code/", []chromedp.Action{arrive(`document.querySelectorAll("#rows tr").length > 5`), drawn,
			chromedp.Click(`#rows .edit`), chromedp.Click(`#figures summary`), chromedp.Click(`.keys summary`)}},
		{"two records", lib + "/pair/code/2024-03-00002/", []chromedp.Action{arrive(`document.querySelectorAll(".strip svg").length === 2`)}},
		{"debriefing", lib + "/record/drill/", []chromedp.Action{arrive(`document.querySelectorAll("#findings tr").length > 5`)}},
		{"records", lib + "/", []chromedp.Action{rows}},
		{"run charts", lib + "/", []chromedp.Action{rows, chromedp.Click(`[data-view="charts"]`),
			poll(`document.querySelectorAll("#drawn svg").length > 9`)}},
		{"drills by team", lib + "/", []chromedp.Action{rows, chromedp.Click(`[data-view="drills"]`),
			poll(`document.querySelectorAll("#teams svg").length > 0`)}},
		{"drill", drill + "/practice/", []chromedp.Action{arrive(`document.querySelectorAll("#cases input").length > 5`)}},
		{"drill that runs", drill + "/practice/", []chromedp.Action{arrive(`document.querySelectorAll("#cases input").length > 5`),
			chromedp.Click(`#choose button`), poll(`document.querySelectorAll("#log .case").length > 0`)}},
		{"wall", wall(well), []chromedp.Action{arrive(`$("given").children.length > 0`)}},
		{"wall, not well", wall(&bad), []chromedp.Action{arrive(`!$("ill").hidden`)}},
		{"card", paper + "/card.html", nil},
		{"list", paper + "/list.html", nil},
		{"report", paper + "/report.html", nil},
	}
}

// Every page, by day and by night, is as WCAG 2.2 wants it, its text at 7 to 1 (1.4.6):
// axe-core finds nothing.
func TestAxeFindsNothing(t *testing.T) {
	z, err := gzip.NewReader(bytes.NewReader(axeCore))
	if err != nil {
		t.Fatal(err)
	}
	script, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	ctx := browser(t, "about:blank")
	for _, p := range everyPage(t) {
		do(t, ctx, append([]chromedp.Action{chromedp.Navigate(p.url)}, p.then...)...)
		eval[any](t, ctx, string(script)+";0")
		for light, rules := range map[string]string{"light": allRules, "dark": colourRules} { // only colours are others
			if light == "dark" && strings.HasPrefix(p.url, "file:") {
				continue // paper is white
			}
			do(t, ctx, theme(light))
			for _, v := range axe(t, ctx, rules) {
				t.Errorf("%s, %s: %s", p.name, light, v)
			}
			shot(t, ctx, strings.ReplaceAll(p.name, ", ", "-")+"-"+light)
		}
		do(t, ctx, chromedp.Navigate("about:blank")) // lets go of streams
	}
}

// What axe-core looks for.
const (
	allRules    = `{ rules: { "color-contrast-enhanced": { enabled: true } }, resultTypes: ["violations"], preload: false }`
	colourRules = `{ runOnly: ["color-contrast", "color-contrast-enhanced"], resultTypes: ["violations"], preload: false }`
)

// axe returns what axe-core finds, a line each. Of many rows and charts alike it looks
// at the first.
func axe(t *testing.T, ctx context.Context, rules string) (found []string) {
	t.Helper()
	var text string
	do(t, ctx, chromedp.Evaluate(`axe.run({ exclude: [["#drawn > section:nth-of-type(n+4)"], ["tbody > tr:nth-child(n+25)"]] }, `+rules+`)
		.then(r => JSON.stringify(r.violations.map(v => ({ id: v.id, impact: v.impact, help: v.help,
			where: v.nodes.map(n => n.target.join(" ") + ": " + n.failureSummary) }))))`, &text,
		func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
	var all []struct {
		ID, Impact, Help string
		Where            []string
	}
	if err := json.Unmarshal([]byte(text), &all); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	for _, v := range all {
		found = append(found, fmt.Sprintf("%s (%s): %s: %.300q", v.ID, v.Impact, v.Help, v.Where))
	}
	return found
}

// tight lists what of a page is cut off on a phone, a table beside its place, and words that are
// broken in two; sums of files may be. Letters of charts are 9 pixels high and more.
const tight = `[...document.querySelectorAll("main, main > *, main > * > *, .drawn")].filter(e =>
		!e.closest(".wide, .scroll, .strip, .paper") &&
		e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).overflowX !== "visible").map(e => "cut off: " + e.tagName + "#" + e.id).concat(
	[...document.querySelectorAll("td, th, a, label, p, h1, h2")].filter(e => !e.children.length && !e.closest(".small, svg, .quiet") &&
		e.checkVisibility() && /^[a-z]+$/i.test(e.textContent)).filter(e => {
			const r = document.createRange();
			r.selectNodeContents(e);
			return r.getClientRects().length > 1;
		}).slice(0, 5).map(e => "broken: " + e.textContent),
	[...document.querySelectorAll("#drawn text, #teams text")].filter(e => e.checkVisibility() && e.textContent &&
		10 * e.getScreenCTM().a < 9).slice(0, 3).map(e => "too small to read: " + e.textContent))`

// Nothing of any page lies beside a phone's screen, 420 pixels wide; what is wide, such as
// a chart, scrolls in its own place.
func TestNoPageIsWiderThanAPhone(t *testing.T) {
	ctx := browser(t, "about:blank")
	do(t, ctx, chromedp.EmulateViewport(420, 860))
	for _, p := range everyPage(t) {
		do(t, ctx, append([]chromedp.Action{chromedp.Navigate(p.url)}, p.then...)...)
		if wide := eval[int](t, ctx, `document.documentElement.scrollWidth`); wide > 420 {
			t.Errorf("%s is %d pixels wide: %s", p.name, wide, eval[string](t, ctx,
				`[...document.querySelectorAll("body *")]
					.filter(e => e.getBoundingClientRect().right > 421 && !e.closest("svg, .wide, .scroll, .drawn"))
					.slice(0, 5).map(e => e.tagName + "#" + e.id + "." + e.className + " " + e.textContent.slice(0, 30)).join("; ")`))
		}
		if bad := eval[[]string](t, ctx, tight); len(bad) > 0 {
			t.Errorf("%s: %q", p.name, bad)
		}
		do(t, ctx, chromedp.Navigate("about:blank"))
	}
}

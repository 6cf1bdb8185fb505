package main

import (
	"context"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coxswain/cmd/coxswain/rig"
	"coxswain/cmd/coxswain/web"
	"coxswain/timeline/figures"
	"coxswain/timeline/review"
)

// ownCase is a case of a site's own that ends quickly.
const ownCase = `title: Found in the corridor
minutes: 2
tell:
  - {delay_s: 1, say: "Visitor, collapsed. Nothing at the neck."}
look:
  - {delay_s: 1, do: [compressions.start], within_s: 30, points: 3, reason: compressions at once, source: our unit, better: Compress first.}
  - {delay_s: 1, do: [shock.given], within_s: 60, points: 2, reason: a shock, source: our unit, better: Shock it.}
`

// drillPage serves the page of drills over a folder of records; a drill that runs is
// ended with the test.
func drillPage(t *testing.T, records string) http.Handler {
	t.Helper()
	c, _ := testConf(t)
	c.Folder = records
	file := filepath.Join(t.TempDir(), "corridor.yaml")
	if err := os.WriteFile(file, []byte(ownCase), 0o600); err != nil {
		t.Fatal(err)
	}
	drills, err := rig.Rig{Config: c, Software: "test", Stderr: new(strings.Builder)}.Drills(file)
	if err != nil {
		t.Fatal(err)
	}
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(t.Context())
	index := review.NewIndex(records, defs, drills.Cases...)
	p := web.NewPractice(ctx, drills, index.Forget)
	t.Cleanup(func() { stop(); p.Wait() })
	from := web.Debriefed(reviewed(defs, notSigned), drills.Cases...)
	return web.Library(index, from, defs, p)
}

// A team practises on the page: a case is told, callouts are typed, what is none is
// refused with what comes near; the debriefing has what earned points and what did
// not, each a link into its moment. One drill runs at a time.
func TestDrillPage(t *testing.T) {
	server := served(t, web.Guard(drillPage(t, t.TempDir()), ""))
	ctx := browser(t, server.URL+"/practice/")
	do(t, ctx, arrive(`document.querySelectorAll("#cases input").length > 5`), byKeys(`[name="team"]`, "Night shift"))
	shot(t, ctx, "drill-choose")
	do(t, ctx, chromedp.KeyEvent(kb.Enter),
		poll(`document.querySelectorAll("#log .case").length === 1 && document.activeElement.name === "line"`))
	if got := post(t, server.URL+"/practice/api/begin", `{"case":"corridor"}`); got != http.StatusConflict {
		t.Errorf("a second drill is answered with %d, want 409", got)
	}
	say := func(line, then string) chromedp.Action {
		return chromedp.Tasks{byKeys(`[name="line"]`, line+kb.Enter), poll(then)}
	}
	do(t, ctx, say("shock delivers", `/no callout.*did you mean/.test(document.querySelector("#log .wrong")?.textContent)`),
		say("compressions started", `document.querySelectorAll("#log .heard").length === 1`),
		say("0:40 rhythm check", `document.querySelectorAll("#log .heard").length === 2 && $("state").textContent.startsWith("hands off")`),
		poll(`$("scene").textContent.startsWith("Visitor") && $("due").textContent && $("title").textContent === "Found in the corridor"`))
	shot(t, ctx, "drill")
	do(t, ctx, byKeys(`#end`, kb.Enter), poll(`!$("after").hidden && document.activeElement === $("debrief")`),
		poll(`/^[0-9]+ of [0-9]+ points: Found in the corridor, Night shift$/.test($("score").textContent) && `+
			`/Shock it/.test($("lost").textContent)`), chromedp.KeyEvent(kb.Enter),
		arrive(`document.querySelectorAll("#findings tr").length === 4`), poll(`audio.readyState > 0`))
	shot(t, ctx, "drill-debriefing")
	score := eval[string](t, ctx, `$("score").textContent`)
	if !strings.HasPrefix(score, "Debriefing: ") || !strings.Contains(score, "Found in the corridor") ||
		!strings.Contains(score, "Night shift") {
		t.Errorf("the debriefing says %q", score)
	}
	if lost := eval[string](t, ctx, `document.querySelector("#findings .lost").textContent`); !strings.Contains(lost, "0 of 2") ||
		!strings.Contains(lost, "Shock it.") {
		t.Errorf("what was lost: %q", lost)
	}
	do(t, ctx, byKeys(`#findings button`, kb.Enter), poll(`playing`))
	do(t, ctx, byKeys(`#list`, kb.Enter), arrive(`location.pathname === "/"`), byKeys(`#practise`, kb.Enter),
		arrive(`location.pathname === "/practice/"`), byKeys(`header a`, kb.Enter), arrive(`document.body.dataset.shown === "drills"`))
	if got := post(t, server.URL+"/practice/api/say", `"undo that"`); got != http.StatusConflict {
		t.Errorf("a callout without a drill is answered with %d, want 409", got)
	}
	for body, want := range map[string]int{`{"case":"none"}`: 400, `[`: 400,
		`{"case":"corridor","team":"` + strings.Repeat("x", 41) + `"}`: 400} {
		if got := post(t, server.URL+"/practice/api/begin", body); got != want {
			t.Errorf("begin %s: %d, want %d", body, got, want)
		}
	}
}

// post sends JSON and returns the answer's status.
func post(t *testing.T, url, body string) int {
	t.Helper()
	r, err := http.Post(url, "application/json", strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	return r.StatusCode
}

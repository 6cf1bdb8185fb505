package main

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"coxswain/cmd/coxswain/session"
	"coxswain/cmd/coxswain/web"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// overlaps lists texts of a page that lie on each other, are cut off by what they
// stand in, or make the page wider than the window.
const overlaps = `(() => {
	const boxes = [], bad = [], walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	for (let n; n = walk.nextNode();) {
		const e = n.parentElement;
		if (!n.data.trim() || e.closest("script, option, template, .quiet, datalist, title, legend") || !e.checkVisibility()) continue;
		const range = document.createRange(), clip = e.closest(".scroll, .strip, .wide, #told, .keys p");
		range.selectNodeContents(n);
		for (const r of range.getClientRects()) {
			if (r.width < 1) continue;
			const c = clip && clip.getBoundingClientRect();
			if (c && !e.closest(".keys p") && (r.bottom > c.bottom + 1 || r.top < c.top - 1 || r.left > c.right || r.right < c.left)) continue;
			if (c && e.closest(".strip") && (r.right > c.right + 1 || r.left < c.left - 1)) bad.push(n.data + " is cut off");
			boxes.push([n.data.trim(), r, e.closest("thead")]);
		}
	}
	boxes.sort((a, b) => a[1].top - b[1].top);
	boxes.forEach(([text, r, head], i) => {
		for (let k = i + 1; k < boxes.length && boxes[k][1].top < r.bottom - 3; k++) {
			const [other, q, its] = boxes[k];
			if (!head !== !its) continue; // rows go under their head
			if (q.left < r.right - 1.5 && r.left < q.right - 1.5 && r.bottom - q.top > Math.max(3, 0.12 * r.height)) bad.push(text + " on " + other);
		}
	});
	const d = document.scrollingElement;
	if (d.scrollWidth > innerWidth + 1) bad.push("the page is " + d.scrollWidth + " pixels wide in a window of " + innerWidth);
	return bad.slice(0, 8);
})()`

// silentRecord writes a record without sound: what is called, and when.
func silentRecord(t testing.TB, dir string, minutes float64, calls ...string) {
	t.Helper()
	wall := time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC)
	w, err := record.Begin(dir, wall)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Journal.Close()
	defer w.Sound.Close()
	events := []timeline.Event{{Kind: timeline.SessionOpen, Session: &timeline.Session{Wall: wall.Format(time.RFC3339Nano),
		Rate: timeline.Rate, Protocol: "erc-2025 x", Software: "test", Recogniser: "scripted", Caution: Caution}}}
	for _, c := range calls {
		var at float64
		var kind string
		values := map[string]float64{}
		fmt.Sscan(c, &at, &kind)
		for _, v := range strings.Fields(c)[2:] {
			slot, x, _ := strings.Cut(v, "=")
			var n float64
			fmt.Sscan(x, &n)
			values[slot] = n
		}
		events = append(events, timeline.Event{At: timeline.Seconds(at), Kind: timeline.Kind(kind), Values: values,
			Heard: &timeline.Heard{Start: timeline.Seconds(at), End: timeline.Seconds(at), Decided: timeline.Seconds(at), Confidence: 0.9}})
	}
	for _, e := range append(events, timeline.Event{At: timeline.Seconds(60 * minutes), Kind: timeline.SessionClose}) {
		if _, err := w.Journal.Append(e); err != nil {
			t.Fatal(err)
		}
	}
}

// twoHours are callouts of a code of two hours, 2,000 of them.
func twoHours() (calls []string) {
	for k := range 2000 {
		kind := timeline.Callouts[k%len(timeline.Callouts)]
		calls = append(calls, fmt.Sprintf("%.1f %s", 5+3.59*float64(k), kind))
	}
	return calls
}

// sixtyDrugs are doses that follow each other every four seconds.
func sixtyDrugs() []string {
	calls := []string{"2 code.start", "4 compressions.start"}
	for k := range 60 {
		drug := []string{"epinephrine", "amiodarone", "lidocaine", "magnesium", "calcium", "atropine"}[k%6]
		calls = append(calls, fmt.Sprintf("%d drug.%s dose_mg=%d", 10+4*k, drug, 100+k))
	}
	return calls
}

// geometry writes the records that are looked at and lists their names: six cases, one
// of two hours, one with 60 drugs.
func geometry(t testing.TB, dir string) (names []string) {
	cases := map[string]string{
		"shockable": `5 code.start|8 compressions.start|30 rhythm.check|33 rhythm.vf|40 shock.charging energy_j=200|44 shock.clear|
			45 shock.given energy_j=200|48 compressions.start|60 access.io|90 drug.epinephrine dose_mg=1|170 rhythm.check|
			172 rhythm.organised|175 pulse.present|178 rosc`,
		"asystole": `5 code.start|9 compressions.start|20 rhythm.asystole|40 drug.epinephrine dose_mg=1|200 airway.secured|
			420 death|424 confirm`,
		"tachycardia": `3 pulse.present|5 rhythm.vt|10 patient.unstable|40 cardioversion.given energy_j=100|60 rhythm.organised`,
		"lost": `3 pulse.present|5 rhythm.vt|30 pulse.lost|32 compressions.start|45 shock.given energy_j=200|
			47 compressions.start|80 rosc`,
		"child": `2 patient.child|4 patient.weight weight_kg=18|6 code.start|9 compressions.start|
			50 drug.epinephrine dose_mg=0.18|70 fluid.bolus`,
		"nothing": "1 note",
	}
	for name, calls := range cases {
		silentRecord(t, filepath.Join(dir, name), 8, strings.Split(calls, "|")...)
		names = append(names, name)
	}
	silentRecord(t, filepath.Join(dir, "two-hours"), 121, twoHours()...)
	silentRecord(t, filepath.Join(dir, "sixty-drugs"), 5, sixtyDrugs()...)
	return append(names, "two-hours", "sixty-drugs")
}

// No two texts lie on each other on the review page of any record, on a desk, a wide
// screen, a telephone and in print.
func TestNoTextOnAnother(t *testing.T) {
	dir := t.TempDir()
	names := geometry(t, dir)
	server := served(t, web.Guard(library(t, dir), ""))
	ctx := browser(t, "about:blank")
	look := func(what string) {
		t.Helper()
		if bad := eval[[]string](t, ctx, overlaps); len(bad) > 0 {
			t.Errorf("%s: %q", what, bad)
		}
		shot(t, ctx, "geometry-"+strings.ReplaceAll(what, " ", "-"))
	}
	for _, name := range names {
		do(t, ctx, chromedp.EmulateViewport(1400, 1000), chromedp.Navigate(server.URL+"/record/"+name+"/"),
			arrive(`document.querySelectorAll(".strip svg").length === 1 && document.querySelectorAll("#rows tr").length > 0`))
		look(name + " 1400")
		for _, width := range []int64{1920, 420} {
			if width == 1920 && !strings.Contains(name, "-") {
				continue // the six cases have more room there than on a desk
			}
			do(t, ctx, chromedp.EmulateViewport(width, 1000), drawnAnew)
			look(fmt.Sprintf("%s %d", name, width))
		}
		do(t, ctx, emulation.SetEmulatedMedia().WithMedia("print"), chromedp.EmulateViewport(718, 1000),
			arrive(`document.querySelector(".paper svg") && document.querySelector(".paper svg").checkVisibility()`))
		look(name + " print")
		do(t, ctx, emulation.SetEmulatedMedia())
	}
}

// drawnAnew waits until the course is as wide as its place.
var drawnAnew = arrive(`(strip => Math.abs(strip.querySelector("svg").getAttribute("width") - strip.clientWidth) < 2)
	(document.querySelector(".strip"))`)

// When the window changes, the course fills its place at once, and the cursor stands where it
// stood in it, while the picture for the new width is still asked for.
func TestCourseScalesAtOnce(t *testing.T) {
	dir := t.TempDir()
	codeRecord(t, filepath.Join(dir, "code"), 60)
	server := served(t, web.Guard(library(t, dir), ""))
	ctx := browser(t, server.URL+"/record/code/")
	do(t, ctx, arrive(`document.querySelector(".strip svg") !== null && rec !== null`), poll(`audio.readyState > 0`),
		chromedp.Evaluate(`seek(45)`, nil), poll(`audio.currentTime === 45 && !audio.seeking`))
	for _, width := range []int64{900, 420, 1800} {
		do(t, ctx, chromedp.Evaluate(`window.fetch = () => new Promise(() => {})`, nil), chromedp.EmulateViewport(width, 1000),
			poll(fmt.Sprintf(`innerWidth === %d && wide < innerWidth`, width)), chromedp.Sleep(50*time.Millisecond))
		off := eval[[]float64](t, ctx, `(() => { const s = document.querySelector(".strip"), svg = s.querySelector("svg"), d = svg.dataset,
			one = s.clientWidth / svg.viewBox.baseVal.width, x = one * (Number(d.left) + 45 / d.to * (d.right - d.left));
			return [svg.getBoundingClientRect().width - s.clientWidth, parseFloat(s.querySelector(".cursor").style.left) - x]; })()`)
		if math.Abs(off[0]) > 1 || math.Abs(off[1]) > 1 {
			t.Errorf("at %d: the picture is off by %.1f pixels, the cursor by %.1f", width, off[0], off[1])
		}
	}
}

// Nothing of the wall is cut off, however long what is next is, and whatever screen it
// stands on.
func TestWallFits(t *testing.T) {
	n := wallOf(3725, 100)
	n.Due[0].Text = "Consider amiodarone 300 mg or lidocaine 100 mg"
	n.Given = append(n.Given, session.Given{Name: "procainamide", Count: 2, Ago: 700},
		session.Given{Name: "amiodarone", Count: 1, Ago: 800}, session.Given{Name: "magnesium", Count: 1, Ago: 900})
	n.Recogniser = "failed"
	var box session.Box
	box.Store(n)
	server := served(t, web.Guard(web.Wall(&box), ""))
	ctx := browser(t, server.URL)
	do(t, ctx, arrive(`$("given").children.length === 5`))
	for _, size := range [][2]int64{{1920, 1080}, {1280, 720}, {1024, 768}, {3840, 2160}} {
		do(t, ctx, chromedp.EmulateViewport(size[0], size[1]), chromedp.Sleep(300*time.Millisecond))
		if bad := wallCut(t, ctx); len(bad) > 0 {
			t.Errorf("%v: %q", size, bad)
		}
		shot(t, ctx, fmt.Sprintf("wall-%d", size[0]))
	}
	for _, width := range []int64{1920, 420} { // on paper it is one sheet, from whatever window
		do(t, ctx, chromedp.EmulateViewport(width, 900), chromedp.Sleep(300*time.Millisecond))
		if n := pagesOn(t, ctx, 11.69, 8.27); n != "1" {
			t.Errorf("from a window of %d the wall is printed on %s sheets, want 1", width, n)
		}
	}
}

// In every state that a session can be in nothing of the wall is cut off, its words are at
// 7 to 1, and it says what is the matter; so does one whose session has only begun.
func TestWallInEveryState(t *testing.T) {
	hands, late := 8.2, -15.0
	states := map[string]func(*session.Snapshot){
		"BEAT UNEVEN, COUNT ALOUD": func(n *session.Snapshot) { n.Beats.Uneven = true },
		"CANNOT HEAR, SOUND LOST, BEAT UNEVEN, COUNT ALOUD, NOT SAVING": func(n *session.Snapshot) {
			n.Recogniser, n.Sound, n.Beats.Uneven, n.Saving = "failed", "lost", true, false
		},
		"HEARS BADLY, SOUND 12 % LOST": func(n *session.Snapshot) { n.Sound, n.State, n.Paused = "12 % lost", "clear", &hands },
		"":                             func(n *session.Snapshot) { n.CycleLeft, n.State = &late, "compressing" },
		"DOES NOT HEAR YET":            func(n *session.Snapshot) { *n = *new(session.Box).Load() },
		"SOUND LOST": func(n *session.Snapshot) { // between two cases
			*n = session.Snapshot{Caution: Caution, State: "listening, no case", Recogniser: "hears", Sound: "lost", Saving: true}
		},
	}
	ctx := browser(t, "about:blank")
	for says, change := range states {
		n := wallOf(3725, 100)
		change(n)
		var box session.Box
		box.Store(n)
		do(t, ctx, chromedp.EmulateViewport(1920, 1080), chromedp.Navigate(served(t, web.Guard(web.Wall(&box), "")).URL),
			arrive(fmt.Sprintf(`$("caution").textContent === %q`, Caution)))
		wallSays(t, ctx, map[string]string{"ill": says})
		if n.Code == nil {
			wallSays(t, ctx, map[string]string{"code": "", "what": map[string]string{"hears": "Ready"}[n.Recogniser]})
		}
		wallContrast(t, ctx)
		for _, size := range [][2]int64{{1920, 1080}, {1400, 1000}, {420, 860}} {
			do(t, ctx, chromedp.EmulateViewport(size[0], size[1]), chromedp.Sleep(300*time.Millisecond))
			if bad := wallCut(t, ctx); len(bad) > 0 {
				t.Errorf("%q at %v: %q", says, size, bad)
			}
			shot(t, ctx, fmt.Sprintf("wall-state-%.12s-%d", says, size[0]))
		}
		do(t, ctx, chromedp.Navigate("about:blank"))
	}
}

// wallCut lists what is cut off or lies on something else.
func wallCut(t *testing.T, ctx context.Context) []string {
	t.Helper()
	return append(eval[[]string](t, ctx, overlaps), eval[[]string](t, ctx, `(() => {
		const bad = [], inside = (a, b) => { const x = $(a).getBoundingClientRect(), y = $(b).getBoundingClientRect();
			if (x.top < y.top - 1 || x.bottom > y.bottom + 1 || x.right > y.right + 1) bad.push(a + " leaves " + b); };
		inside("what", "next"); if ($("when").textContent) inside("when", "next"); inside("under", "next");
		for (const id of ["state", "case"]) if ($(id).getBoundingClientRect().right > innerWidth) bad.push(id + " is cut off");
		for (const id of ["what", "when"]) if ($(id).scrollHeight > 1.3 * $(id).offsetHeight) bad.push(id + " is cut off");
		inside("given", "done"); inside("cycle", "cyclebox");
		const size = id => parseFloat(getComputedStyle($(id)).fontSize);
		for (const id of ["state", "cycle", "ill"])
			if ($("what").textContent && size(id) >= size("what")) bad.push(id + " is larger than what is next");
		if ($("caution").getBoundingClientRect().bottom > innerHeight - 2) bad.push("the caution is cut off");
		for (const li of $("given").children)
			if (li.scrollWidth > li.clientWidth + 1 || li.getBoundingClientRect().right > innerWidth) bad.push(li.textContent + " is cut off");
		return bad;
	})()`)...)
}

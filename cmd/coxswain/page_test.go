package main

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"coxswain/audio"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/session"
	"coxswain/cmd/coxswain/web"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// codeRecord writes a record of a short code, with sound of so many seconds.
func codeRecord(t *testing.T, dir string, seconds int, more ...timeline.Event) string {
	t.Helper()
	wall := time.Date(2026, 3, 1, 14, 0, 0, 0, time.UTC)
	w, err := record.Begin(dir, wall)
	if err != nil {
		t.Fatal(err)
	}
	events := []timeline.Event{{Kind: timeline.SessionOpen,
		Session: &timeline.Session{Wall: wall.Format(time.RFC3339Nano), Rate: timeline.Rate, Software: "test", Protocol: "aha-2020 x",
			Recogniser: "scripted", Source: "test", Caution: Caution}}}
	call := func(at float64, kind timeline.Kind, sure float64, values map[string]float64) {
		end := timeline.Seconds(at)
		events = append(events, timeline.Event{At: end, Kind: kind, Values: values,
			Heard: &timeline.Heard{Start: end - timeline.Rate, End: end, Decided: end + timeline.Rate/4, Text: string(kind), Confidence: sure}})
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

// wallOf is a session so many seconds into a code, with so many left of the cycle.
func wallOf(code, left float64) *session.Snapshot {
	return &session.Snapshot{Caution: Caution, State: "compressing", Rhythm: "VF", Code: &code, CycleLeft: &left, Cycle: 120,
		Given: []session.Given{{Name: "shocks", Count: 2, Ago: 65}, {Name: "epinephrine", Count: 1, Ago: 130}},
		Due:   []session.Due{{Text: "Epinephrine", In: 55.2}}, Last: []session.Heard{{Ago: 12, Text: "shock given, 200 J", Sure: 0.9}},
		Recogniser: "hears", Sound: "whole", Saving: true, Healthy: true, Microphone: -48}
}

// The wall display shows what is next, the cycle, what was given, and says when
// it is cut off.
func TestWallDisplay(t *testing.T) {
	var box session.Box
	paused, n := 7.4, wallOf(125, 40)
	box.Store(n)
	server := served(t, web.Guard(monitor.Handler(monitor.Watched{Latest: &box, Turns: func() int64 { return 1 }}),
		"a-word-of-26-letters-or-so"))
	ctx := browser(t, server.URL+"/?token=a-word-of-26-letters-or-so")
	do(t, ctx, poll(`document.querySelector("#code").textContent === "code 2:05"`))
	shot(t, ctx, "wall")
	wallSays(t, ctx, map[string]string{"line": "in 0:55 Epinephrine", "under": "", "cycle": "Cycle 0:40 left",
		"state": "compressing", "rhythm": "VF",
		"given": "2 shocks1:05 ago1 epinephrine2:10 ago", "heard": "“shock given, 200 J” 0:12 ago",
		"loud": "", "ill": "", "caution": Caution})
	// Legible at 5 m: what is next and when are one line, the largest; nothing that matters is
	// under a thirtieth of the screen high (common practice, no source).
	sizes := eval[[]float64](t, ctx, `["what", "when", "state", "cycle", "given", "heard"]
		.map(i => parseFloat(getComputedStyle($(i)).fontSize) / innerHeight)`)
	for i, s := range sizes {
		if i == 1 && s != sizes[0] || i > 1 && s >= sizes[0] || s < 1.0/30 {
			t.Errorf("size %d of the wall is %.3f of the screen high; the largest must be the first: %.3f", i, s, sizes[0])
		}
	}
	if c := eval[int](t, ctx, `document.querySelectorAll("button, input, a, select").length`); c != 0 {
		t.Errorf("%d controls on a display", c)
	}
	wallLine(t, ctx, &box, n)
	places := `["state", "what", "cycle", "done", "heard"]
		.map(i => { const r = $(i).getBoundingClientRect(); return [r.left, r.top].join() }).join(" ")`
	before := eval[string](t, ctx, places)
	other, long := *n, 3601.0
	other.Code, other.Loud, other.Microphone = &long, true, -20
	box.Store(&other)
	do(t, ctx, poll(`$("code").textContent === "code 60:01"`))
	wallSays(t, ctx, map[string]string{"loud": "loud"})
	if after := eval[string](t, ctx, places); after != before {
		t.Errorf("things moved when numbers changed: %s, then %s", before, after)
	}
	do(t, ctx, chromedp.EmulateViewport(420, 860)) // in a hand, too
	loud := eval[string](t, ctx, places)
	box.Store(n)
	do(t, ctx, poll(`$("loud").textContent === ""`))
	if quiet := eval[string](t, ctx, places); quiet != loud {
		t.Errorf("on a telephone things moved when the room fell silent: %s, then %s", loud, quiet)
	}
	do(t, ctx, chromedp.EmulateViewport(1500, 1300))
	ill := *n
	ill.Paused, ill.Recogniser, ill.Healthy = &paused, "failed", false
	box.Store(&ill)
	do(t, ctx, poll(`$("ill").textContent === "CANNOT HEAR"`))
	wallSays(t, ctx, map[string]string{"state": "compressing 7 s", "cycle": "Cycle 0:40 left"})
	wallContrast(t, ctx)
	shot(t, ctx, "wall-ill")
	server.CloseClientConnections()
	server.Listener.Close()
	do(t, ctx, poll(`$("ill").textContent === "DISPLAY LOST COXSWAIN"`))
}

// wallLine counts what is next down to its moment and past it: the time leads the line, what is next
// never moves, and now looks unlike later.
func wallLine(t *testing.T, ctx context.Context, box *session.Box, n *session.Snapshot) {
	t.Helper()
	looks := map[string]bool{}
	var at []float64
	for _, c := range []struct {
		in          float64
		line, under string
	}{{55.2, "in 0:55 Epinephrine", ""}, {11.1, "in 0:11 Epinephrine", ""}, {0.2, "now Epinephrine", ""},
		{-42, "now Epinephrine", "due for 0:42"}} {
		m := *n
		m.Due = []session.Due{{Text: "Epinephrine", In: c.in}}
		box.Store(&m)
		do(t, ctx, poll(fmt.Sprintf(`$("line").textContent === %q && $("under").textContent === %q`, c.line, c.under)))
		wallContrast(t, ctx)
		looks[eval[string](t, ctx, `getComputedStyle($("next")).backgroundColor`)] = true
		at = append(at, eval[[]float64](t, ctx, `(r => [r.left, r.top])($("what").getBoundingClientRect())`)...)
	}
	for i := 2; i < len(at); i++ {
		if math.Abs(at[i]-at[i-2]) > 0.5 {
			t.Errorf("what is next moves as its time comes: %v", at)
			break
		}
	}
	if len(looks) != 2 {
		t.Errorf("now looks like later: %v", looks)
	}
	box.Store(n)
	do(t, ctx, poll(`$("when").textContent === "in 0:55"`))
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
		const lum = c => { const v = c.match(/[0-9.]+/g).slice(0, 3).map(x => x / 255)
			.map(x => x <= 0.03928 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4);
			return 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2]; };
		const ground = e => {
			for (; e; e = e.parentElement) {
				const c = getComputedStyle(e).backgroundColor;
				if (!/, 0\)$/.test(c)) return c;
			}
			return "rgb(16,22,28)";
		};
		const pairs = ["state", "rhythm", "code", "what", "when", "under", "heard", "ill", "caution"]
			.map(i => [getComputedStyle($(i)).color, ground($(i))]);
		pairs.push([getComputedStyle($("cycle")).color, getComputedStyle($("bar")).backgroundColor]);
		return Math.min(...pairs.map(([a, b]) => { const x = lum(a), y = lum(b); return (Math.max(x, y) + 0.05) / (Math.min(x, y) + 0.05); }));
	})()`)
	if worst < 7 {
		t.Errorf("the least contrast is %.1f to 1, want 7", worst)
	}
}

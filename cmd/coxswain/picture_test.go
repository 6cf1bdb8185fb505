package main

import (
	"context"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/coxtest"
	"coxswain/cmd/coxswain/rig"
	"coxswain/cmd/coxswain/session"
	"coxswain/cmd/coxswain/web"
	"coxswain/intents"
	"coxswain/timeline"
	"coxswain/timeline/figures"
)

// pictures is where the README's pictures lie, and a list of what each shows.
const pictures = "../../testdata/pictures"

// TestPictures holds the pictures of the README to what the pages say of the demo
// today: not to their pixels, which differ with every machine's fonts, but to the
// words and numbers of the page that each was taken of.
func TestPictures(t *testing.T) {
	dir, mid := demoAsHeard(t)
	defs, err := figures.Definitions()
	if err != nil {
		t.Fatal(err)
	}
	page, err := web.Review(reviewed(defs, nil), dir)
	if err != nil {
		t.Fatal(err)
	}
	server := served(t, web.Guard(page, ""))
	ctx := browser(t, server.URL)
	do(t, ctx, chromedp.EmulateViewport(1360, 1000), poll(`audio.readyState > 0 && document.querySelectorAll(".strip .wave").length === 2`))
	list := picture(t, ctx, "review", "#strips, #about, details p, template, [hidden]")
	var box session.Box
	box.Store(mid)
	wall := served(t, web.Guard(web.Wall(&box), ""))
	do(t, ctx, chromedp.Navigate(wall.URL), chromedp.EmulateViewport(1360, 765), arrive(`$("given").children.length > 0`))
	list += picture(t, ctx, "wall", "[hidden]")
	do(t, ctx, chromedp.Navigate("about:blank")) // lets go of the wall's stream
	golden := filepath.Join(pictures, "taken-of.txt")
	if *update {
		os.WriteFile(golden, []byte(list), 0o644)
	}
	if want, err := os.ReadFile(golden); err != nil || string(want) != list {
		t.Errorf("the pages have changed since the README's pictures were taken (%v): draw them anew with\n"+
			"go test ./cmd/coxswain -run TestPictures -update\nand look at them. Taken of\n%snow\n%s", err, want, list)
	}
}

// demoAsHeard runs the demo again with what its golden timeline says was heard, and
// returns its record and how the session looked 15 s before the second change. The
// sound is the demo's where a picture is taken, else silence.
func demoAsHeard(t *testing.T) (dir string, mid *session.Snapshot) {
	t.Helper()
	c, v := testConf(t)
	o, err := rig.Rig{Config: c, Software: "coxswain"}.Options(v, false)
	if err != nil {
		t.Fatal(err)
	}
	dir = filepath.Join(t.TempDir(), "demo-record")
	o.Ear, o.Recogniser, o.Source = intents.Inline{Recogniser: &intents.Scripted{Results: heardInDemo(t)}}, "builtin", "demo.wav"
	o.Wall = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	o.Begin = func(b session.Beginning) (session.Kept, error) { return rig.BeginIn(dir, b) }
	var s *session.Session
	o.Watch = func(e timeline.Event) {
		if e.Cue == "cycle.soon" {
			mid = s.Latest().Load()
		}
	}
	if s, err = session.New(o); err != nil {
		t.Fatal(err)
	}
	if *update {
		wav := filepath.Join(t.TempDir(), "demo.wav")
		coxtest.Render(t, "testdata/demo.scene", wav)
		in, oerr := recorder.OpenMono(wav, audio.Rate)
		if oerr != nil {
			t.Fatal(oerr)
		}
		defer in.Close()
		err = s.Feed(in, nil, io.Discard) // to the end, and closes
	} else {
		var block [audio.Block]float32
		for range 490 * 100 {
			s.Step(block[:], block[:])
		}
		err = s.Close()
	}
	if err != nil || mid == nil {
		t.Fatal("the demo never came to the moment of the picture", err)
	}
	return dir, mid
}

// heardInDemo reads what was heard, and when, from the demo's golden timeline.
func heardInDemo(t *testing.T) (out []intents.Result) {
	t.Helper()
	golden, err := os.ReadFile("../../testdata/demo.golden")
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range strings.Split(string(golden), "\n") {
		f := regexp.MustCompile(` {2,}`).Split(strings.TrimSpace(l), -1) // number, session, code, event, heard as, sure
		sure, ok := strings.CutSuffix(f[len(f)-1], " %")
		if len(f) != 6 || !ok {
			continue
		}
		at, err := timeline.ParseTime(f[1])
		n, nerr := strconv.ParseFloat(sure, 64)
		if err != nil || nerr != nil {
			t.Fatalf("%s: %v %v", l, err, nerr)
		}
		words := strings.Fields(strings.TrimSuffix(f[3], " (taken back)"))
		end := int64(at) * intents.Rate / audio.Rate
		r := intents.Result{Callout: words[0], Text: f[4], Confidence: n / 100, Start: end - intents.Rate, End: end, Decided: end + 4800}
		for _, w := range words[1:] {
			slot, x, _ := strings.Cut(w, "=")
			if r.Values == nil {
				r.Values = map[string]float64{}
			}
			r.Values[slot], _ = strconv.ParseFloat(x, 64)
		}
		out = append(out, r)
	}
	return out
}

// picture returns a line that tells of what a picture was taken: sums of the
// page's words, but for what is left out, and of the picture's file. With -update
// it takes the picture.
func picture(t *testing.T, ctx context.Context, name, leave string) string {
	t.Helper()
	words := eval[string](t, ctx, fmt.Sprintf(`(() => {
		const all = document.body.cloneNode(true);
		if (%[1]q) all.querySelectorAll(%[1]q).forEach(e => e.remove());
		return all.textContent;
	})()`, leave))
	file := filepath.Join(pictures, name+".png")
	if *update {
		var png []byte
		do(t, ctx, emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "light"}}),
			chromedp.CaptureScreenshot(&png))
		os.MkdirAll(pictures, 0o755)
		os.WriteFile(file, png, 0o644)
	}
	png, err := os.ReadFile(file)
	if err != nil {
		t.Error(err)
	}
	words = strings.Join(strings.Fields(words), " ")
	return fmt.Sprintf("%s words %.16x picture %.16x\n", name, sha256.Sum256([]byte(words)), sha256.Sum256(png))
}

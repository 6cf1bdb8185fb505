package main

import (
	"context"
	"encoding/json"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/tracing"
	"github.com/chromedp/chromedp"

	"coxswain/cmd/coxswain/web"
)

// BenchmarkScrollTwoHours opens the record of two hours and scrolls its events by the
// wheel, as measured by the browser's own trace: frames a second while it scrolls, the
// longest time between two, and when something was first painted. A headless Chromium
// draws without a graphics card: a desk's is faster.
func BenchmarkScrollTwoHours(b *testing.B) {
	dir := b.TempDir()
	silentRecord(b, filepath.Join(dir, "two-hours"), 121, twoHours()...)
	server := served(b, web.Guard(library(b, dir), ""))
	ctx := browser(b, "about:blank")
	for b.Loop() {
		do(b, ctx, chromedp.EmulateViewport(1400, 1000), chromedp.Navigate(server.URL+"/record/two-hours/"),
			arrive(`document.querySelectorAll("#rows tr").length > 1000 && document.querySelector(".strip svg") !== null`))
		paint := eval[float64](b, ctx, `performance.getEntriesByName("first-contentful-paint")[0].startTime`)
		frames := scrolled(b, ctx)
		longest := 0.0
		for i := 1; i < len(frames); i++ {
			longest = max(longest, frames[i]-frames[i-1])
		}
		b.ReportMetric(float64(len(frames)-1)/(frames[len(frames)-1]-frames[0]), "frames/s")
		b.ReportMetric(1000*longest, "ms-longest-frame")
		b.ReportMetric(paint, "ms-first-paint")
	}
}

// scrolled scrolls the list of events down and returns when frames were drawn, in seconds.
func scrolled(b *testing.B, ctx context.Context) (frames []float64) {
	b.Helper()
	var mu sync.Mutex
	done := make(chan struct{})
	listening, stop := context.WithCancel(ctx)
	defer stop()
	chromedp.ListenTarget(listening, func(ev any) {
		switch e := ev.(type) {
		case *tracing.EventDataCollected:
			for _, v := range e.Value {
				var one struct {
					Name string
					TS   float64
				}
				if json.Unmarshal(v, &one) == nil && one.Name == "DrawFrame" {
					mu.Lock()
					frames = append(frames, one.TS/1e6)
					mu.Unlock()
				}
			}
		case *tracing.EventTracingComplete:
			close(done)
		}
	})
	do(b, ctx, chromedp.Evaluate(`document.querySelector(".scroll").scrollIntoView({ block: "end" })`, nil))
	at := eval[[]float64](b, ctx, `(r => [r.left + 200, (Math.max(0, r.top) + Math.min(innerHeight, r.bottom)) / 2])
		(document.querySelector(".scroll").getBoundingClientRect())`)
	do(b, ctx, tracing.Start().WithTransferMode(tracing.TransferModeReportEvents).WithTraceConfig(&tracing.TraceConfig{
		IncludedCategories: []string{"disabled-by-default-devtools.timeline.frame", "devtools.timeline.frame", "devtools.timeline"}}),
		chromedp.ActionFunc(func(ctx context.Context) error {
			return input.SynthesizeScrollGesture(at[0], at[1]).WithYDistance(-12000).WithSpeed(4000).Do(ctx)
		}),
		tracing.End())
	select {
	case <-done:
	case <-time.After(patience):
		b.Fatal("the trace never came")
	}
	if len(frames) < 10 {
		b.Fatalf("%d frames in the trace", len(frames))
	}
	return frames
}

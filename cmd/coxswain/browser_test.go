package main

import (
	"context"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coxswain/cmd/coxswain/paper"
)

// patience is how long a test waits for what must happen. It says nothing about
// speed: a starved machine may need it.
const patience = 2 * time.Minute

// chromium is the one headless Chromium of all tests.
var chromium struct {
	once sync.Once
	ctx  context.Context
	stop func()
	dir  string // for what it leaves behind
	err  error
}

// startChromium starts it, if no test did before.
func startChromium(path string) (context.Context, error) {
	c := &chromium
	c.once.Do(func() {
		if c.dir, c.err = os.MkdirTemp("", "coxswain-browser"); c.err != nil {
			return
		}
		alloc, stop := chromedp.NewExecAllocator(context.Background(),
			append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU,
				chromedp.UserDataDir(filepath.Join(c.dir, "profile")), chromedp.Env("TMPDIR="+c.dir),
				chromedp.Flag("autoplay-policy", "no-user-gesture-required"), chromedp.WindowSize(1500, 1300),
				chromedp.WSURLReadTimeout(patience))...)
		ctx, stopFirst := chromedp.NewContext(alloc)
		c.ctx, c.err = ctx, chromedp.Run(ctx)
		c.stop = func() {
			closing, late := context.WithTimeout(ctx, patience)
			defer late()
			chromedp.Cancel(closing) // one that is killed leaves children that still write
			stopFirst()
			stop()
			os.RemoveAll(c.dir)
		}
	})
	return c.ctx, c.err
}

// stopChromium stops it, if it runs.
func stopChromium() {
	if chromium.stop != nil {
		chromium.stop()
	}
}

// browser opens a page in a tab of its own, 1500 by 1300 unless another size
// is set; an exception in the page fails the test.
func browser(t testing.TB, url string) context.Context {
	t.Helper()
	path := paper.FindChromium()
	if path == "" {
		t.Skip("no Chromium: `make test` installs it")
	}
	all, err := startChromium(path)
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := chromedp.NewContext(all)
	t.Cleanup(stop)
	ctx, late := context.WithTimeout(ctx, 2*patience)
	t.Cleanup(late)
	chromedp.ListenTarget(ctx, func(ev any) {
		if e, ok := ev.(*runtime.EventExceptionThrown); ok {
			t.Errorf("the page threw: %s", e.ExceptionDetails)
		}
	})
	do(t, ctx, chromedp.EmulateViewport(1500, 1300), chromedp.Navigate(url))
	return ctx
}

// do runs actions in the page.
func do(t testing.TB, ctx context.Context, actions ...chromedp.Action) {
	t.Helper()
	if err := chromedp.Run(ctx, actions...); err != nil {
		t.Fatal(err)
	}
}

// poll waits until an expression in the page is true.
func poll(js string) chromedp.Action {
	return chromedp.Poll(js, nil, chromedp.WithPollingTimeout(patience))
}

// byKeys goes from one control to the next, as the Tab key does, until it comes to the one that is
// meant, which must show that it has the focus (WCAG 2.2, 2.1.1 and 2.4.7), and presses keys there.
func byKeys(selector, keys string) chromedp.Action {
	return chromedp.ActionFunc(func(ctx context.Context) error {
		var there string
		for range 300 {
			if err := chromedp.Evaluate(fmt.Sprintf(`(e => !e.matches(%q) ? "" :
				getComputedStyle(e).outlineStyle !== "none" ? "shown" : "not shown")(document.activeElement)`, selector), &there).Do(ctx); err != nil {
				return err
			}
			if there == "shown" {
				return chromedp.KeyEvent(keys).Do(ctx)
			}
			if err := chromedp.KeyEvent(kb.Tab).Do(ctx); err != nil {
				return err
			}
		}
		return fmt.Errorf("the Tab key never comes to %s, or it does not show: %q", selector, there)
	})
}

// arrive waits until an expression is true in the page that is being opened.
func arrive(js string) chromedp.Action {
	return chromedp.ActionFunc(func(ctx context.Context) error {
		for begun := time.Now(); ; time.Sleep(20 * time.Millisecond) {
			there := false
			err := chromedp.Evaluate(js, &there).Do(ctx) // fails while the old page goes
			if there || ctx.Err() != nil {
				return ctx.Err()
			}
			if time.Since(begun) > patience {
				return fmt.Errorf("it never came to %s: %w", js, err)
			}
		}
	})
}

// eval returns what an expression in the page is.
func eval[T any](t testing.TB, ctx context.Context, js string) T {
	t.Helper()
	var out T
	do(t, ctx, chromedp.Evaluate(js, &out))
	return out
}

// shot saves what the page looks like, if COXSWAIN_SHOTS names a folder.
func shot(t testing.TB, ctx context.Context, name string) {
	t.Helper()
	dir := os.Getenv("SHOTS")
	if dir == "" {
		return
	}
	var png []byte
	do(t, ctx, chromedp.FullScreenshot(&png, 100))
	os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644)
}

// served serves pages until the test is over. Its connections are cut first: a browser may hold
// a page's sound open for as long as it is asked to wait.
func served(t testing.TB, h http.Handler) *httptest.Server {
	t.Helper()
	server := httptest.NewServer(h)
	t.Cleanup(func() { server.CloseClientConnections(); server.Close() })
	return server
}

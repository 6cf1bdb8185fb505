package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"coxswain/cmd/coxswain/paper"
)

// Each of the three sides of the card is one side of A4 when printed.
func TestCard(t *testing.T) {
	dir := t.TempDir()
	card, list := filepath.Join(dir, "card.html"), filepath.Join(dir, "all.html")
	ok(t, "callouts", "--page", card, "--list", list)
	for _, f := range []string{card, list} {
		b, err := os.ReadFile(f)
		if err != nil || !strings.Contains(string(b), Caution) || strings.Contains(string(b), "{energy_j}") {
			t.Errorf("%s: no caution, or a slot is shown as such: %v", f, err)
		}
	}
	browser := paper.FindChromium()
	if browser == "" {
		t.Skip("no Chromium: `make test` installs it")
	}
	pdf := filepath.Join(dir, "card.pdf")
	b, err := os.ReadFile(card)
	if err != nil {
		t.Fatal(err)
	}
	if err := paper.PDF(b, pdf); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("pdfinfo", pdf).Output()
	if err != nil {
		t.Skip("no pdfinfo: `make test` installs it")
	}
	if m := regexp.MustCompile(`Pages:\s+(\d+)`).FindStringSubmatch(string(out)); m == nil || m[1] != "3" {
		t.Errorf("the card has %v pages, want 3: one side each", m)
	}
	if dir := os.Getenv("SHOTS"); dir != "" {
		exec.Command("pdftoppm", "-r", "70", "-png", pdf, filepath.Join(dir, "card")).Run()
	}
}

// The list of all callouts is searched by keys alone, from the moment that it is open, and read by
// keys as the card is; behind a search what was found is printed.
func TestCardAndListByKeys(t *testing.T) {
	dir := t.TempDir()
	ok(t, "callouts", "--page", filepath.Join(dir, "card.html"), "--list", filepath.Join(dir, "list.html"))
	ctx := browser(t, "file://"+filepath.Join(dir, "list.html"))
	shown := func() (rows []string) {
		return eval[[]string](t, ctx, `[...document.querySelectorAll("tbody tr")].filter(r => r.checkVisibility()).map(r => r.textContent)`)
	}
	all := len(shown())
	do(t, ctx, poll(`document.activeElement.id === "find"`), byKeys(`#find`, "Shock Del"),
		poll(`document.querySelectorAll("tbody tr[hidden]").length > 0`))
	found := shown()
	for _, r := range found {
		if !strings.Contains(r, "shock del") {
			t.Errorf("found for \"Shock Del\": %q", r)
		}
	}
	if says := eval[string](t, ctx, `document.getElementById("count").textContent`); len(found) == 0 ||
		says != fmt.Sprintf("%d of %d", len(found), all) {
		t.Errorf("%d rows of %d are shown, the page says %q", len(found), all, says)
	}
	if n := pagesOfLetter(t, ctx); n != "1" {
		t.Errorf("what was found is printed on %s pages", n)
	}
	do(t, ctx, chromedp.KeyEvent(kb.Escape), poll(`document.querySelectorAll("tbody tr[hidden]").length === 0`),
		chromedp.KeyEvent(kb.PageDown), poll(`scrollY > 0`))
	do(t, ctx, chromedp.Navigate("file://"+filepath.Join(dir, "card.html")), chromedp.KeyEvent(kb.PageDown), poll(`scrollY > 0`))
	if n := pagesOfLetter(t, ctx); n != "3" {
		t.Errorf("the card has %s pages of Letter, want 3: one side each", n)
	}
}

// pagesOfLetter is how many pages of Letter, 8.5 by 11 inches, a page is printed on.
func pagesOfLetter(t *testing.T, ctx context.Context) string { return pagesOn(t, ctx, 8.5, 11) }

// pagesOn is how many pages of so many inches a page is printed on, with the margins that a browser gives.
func pagesOn(t *testing.T, ctx context.Context, width, height float64) string {
	t.Helper()
	var pdf []byte
	do(t, ctx, chromedp.ActionFunc(func(ctx context.Context) (err error) {
		pdf, _, err = page.PrintToPDF().WithPaperWidth(width).WithPaperHeight(height).Do(ctx)
		return err
	}))
	if n := regexp.MustCompile(`/Count (\d+)`).FindSubmatch(pdf); n != nil {
		return string(n[1])
	}
	return "unknown"
}

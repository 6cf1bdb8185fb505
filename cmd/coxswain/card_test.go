package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"coxswain/cmd/coxswain/paper"
)

// Each of the three sides of the card is one side of A4 when printed.
func TestCard(t *testing.T) {
	dir := t.TempDir()
	page, list := filepath.Join(dir, "card.html"), filepath.Join(dir, "all.html")
	ok(t, "callouts", "--page", page, "--list", list)
	for _, f := range []string{page, list} {
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
	b, err := os.ReadFile(page)
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

package paper

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"coxswain/timeline/record"
)

// FindChromium returns the path of a Chromium, or "".
func FindChromium() string {
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			return p
		}
	}
	return ""
}

// PDF has a headless Chromium print the report.
func PDF(html []byte, out string) error {
	browser := FindChromium()
	if browser == "" {
		return fmt.Errorf("no Chromium to print with: apt-get install chromium, or write .html and print that")
	}
	tmp, err := os.MkdirTemp("", "coxswain-report")
	if err != nil {
		return err
	}
	defer os.RemoveAll(tmp)
	page, made := filepath.Join(tmp, "report.html"), filepath.Join(tmp, "report.pdf")
	if err := os.WriteFile(page, html, 0o600); err != nil {
		return err
	}
	args := []string{
		"--headless",
		"--disable-gpu",
		"--no-pdf-header-footer",
		"--user-data-dir=" + filepath.Join(tmp, "profile"),
		"--print-to-pdf=" + made,
		"file://" + page,
	}
	if os.Geteuid() == 0 { // Chromium refuses its sandbox as root; the page is our own and loads nothing
		args = append([]string{"--no-sandbox"}, args...)
	}
	cmd := exec.Command(browser, args...)
	cmd.Env = append(os.Environ(), "TMPDIR="+tmp) // it leaves its sockets and more behind
	if b, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w: %s", browser, err, lastLine(b))
	}
	b, err := os.ReadFile(made)
	if err != nil {
		return fmt.Errorf("%s printed nothing: %w", browser, err)
	}
	return record.WriteFile(out, b)
}

func lastLine(b []byte) string {
	s := strings.TrimSpace(string(b))
	return s[strings.LastIndexByte(s, '\n')+1:]
}

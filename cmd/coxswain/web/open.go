package web

import (
	"fmt"
	"html"
	"os"
	"os/exec"
	"path/filepath"
)

// opener is the desktop's own program that opens a file (freedesktop.org).
const opener = "xdg-open"

// HasDesktop reports whether there is a desktop to open a page on.
func HasDesktop() bool {
	_, err := exec.LookPath(opener)
	return err == nil && (os.Getenv("DISPLAY") != "" || os.Getenv("WAYLAND_DISPLAY") != "")
}

// OpenBrowser opens an address in the desktop's browser, if there is one. The
// address may hold a token and a command line is everyone's to read, so that it
// goes through a file of the user's own, which done removes.
func OpenBrowser(address string) (done func()) {
	none := func() {}
	dir, err := os.MkdirTemp("", "coxswain")
	if err != nil {
		return none
	}
	done = func() { os.RemoveAll(dir) }
	page := filepath.Join(dir, "open.html")
	text := fmt.Sprintf(
		"<!doctype html><meta http-equiv=\"refresh\" content=\"0; url=%s\">",
		html.EscapeString(address),
	)
	if err := os.WriteFile(page, []byte(text), 0o600); err != nil {
		return done
	}
	if cmd := exec.Command(opener, page); cmd.Start() == nil {
		go cmd.Wait()
	}
	return done
}

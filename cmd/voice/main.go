// Command voice renders the clips that coxswain speaks and that are not there
// yet, and removes those that nobody says any more. It needs flite (voice
// cmu_us_rms, free licence), sox and opusenc: Debian packages flite, sox,
// opus-tools.
//
//	go run ./cmd/voice          # what is missing in prompts/clips
//	go run ./cmd/voice --all    # everything anew
package main

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"

	"coxswain/audio"
	"coxswain/prompts"
)

func main() {
	dir := flag.String("dir", "prompts/clips", "the folder of the clips")
	all := flag.Bool("all", false, "render every clip anew")
	flag.Parse()
	if err := render(*dir, *all); err != nil {
		fmt.Fprintln(os.Stderr, "voice:", err)
		os.Exit(1)
	}
}

func render(dir string, all bool) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	tmp, err := os.MkdirTemp("", "voice")
	if err != nil {
		return err
	}
	defer os.RemoveAll(tmp)
	texts := prompts.Texts()
	if len(texts) == 0 {
		return fmt.Errorf("prompts/cues.yaml cannot be read: `go test ./prompts` says why")
	}
	wanted := map[string]bool{}
	for _, text := range texts {
		out := filepath.Join(dir, prompts.Slug(text)+".opus")
		if !wanted[out] && (all || !says(out, text)) {
			if err := speak(text, tmp, out); err != nil {
				return err
			}
		}
		wanted[out] = true
	}
	have, err := filepath.Glob(filepath.Join(dir, "*.*"))
	for _, f := range have {
		if !wanted[f] { // nobody says it any more
			os.Remove(f)
		}
	}
	return err
}

// says reports whether a clip is there and speaks these words.
func says(path, text string) bool {
	b, err := os.ReadFile(path)
	if err != nil {
		return false
	}
	o, err := audio.LoadOpus(path, b)
	return err == nil && prompts.Slug(o.Title()) == prompts.Slug(text)
}

func speak(text, tmp, out string) error {
	raw, cut, faded := filepath.Join(tmp, "raw.wav"), filepath.Join(tmp, "cut.wav"), filepath.Join(tmp, "faded.wav")
	for _, args := range [][]string{
		{"flite", "-voice", "rms", "--setf", "duration_stretch=0.92", "-t", text, "-o", raw},
		// No silence at either end: a clip starts when it is placed.
		{"sox", "-D", raw, "-b", "16", cut, "silence", "1", "0.01", "0.5%", "reverse",
			"silence", "1", "0.01", "0.5%", "reverse", "norm", "-3"},
		{"sox", "-D", cut, faded, "fade", "t", "0.003", "-0", "0.01"},
		// The title holds a clip to its sentence; a fixed serial number, so that the
		// same words give the same file.
		{"opusenc", "--quiet", "--bitrate", "32", "--padding", "0", "--serial", "1", "--title", text, faded, out},
	} {
		if b, err := exec.Command(args[0], args[1:]...).CombinedOutput(); err != nil {
			return fmt.Errorf("%s for %q: %w: %s (apt-get install flite sox opus-tools)", args[0], text, err, b)
		}
	}
	return nil
}

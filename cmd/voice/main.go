// Command voice renders every clip that coxswain speaks, with flite (Debian
// package flite, voice cmu_us_rms, free licence): go run ./cmd/voice
package main

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"

	"coxswain/prompts"
)

func main() {
	dir := "prompts/clips"
	if len(os.Args) > 1 {
		dir = os.Args[1]
	}
	if err := render(dir); err != nil {
		fmt.Fprintln(os.Stderr, "voice:", err)
		os.Exit(1)
	}
}

func render(dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	wanted := map[string]bool{}
	for _, text := range prompts.Texts() {
		raw := filepath.Join(os.TempDir(), "voice-"+prompts.Slug(text)+".wav")
		cut := raw + ".cut.wav"
		out := filepath.Join(dir, prompts.Slug(text)+".wav")
		for _, args := range [][]string{
			{"flite", "-voice", "rms", "--setf", "duration_stretch=0.92", "-t", text, "-o", raw},
			// No silence at either end: a clip starts when it is placed.
			{"sox", "-D", raw, "-b", "16", cut, "silence", "1", "0.01", "0.5%", "reverse", "silence", "1", "0.01", "0.5%", "reverse", "norm", "-3"},
			{"sox", "-D", cut, out, "fade", "t", "0.003", "-0", "0.01"},
		} {
			if b, err := exec.Command(args[0], args[1:]...).CombinedOutput(); err != nil {
				return fmt.Errorf("%s for %q: %w: %s", args[0], text, err, b)
			}
		}
		os.Remove(raw)
		os.Remove(cut)
		wanted[out] = true
	}
	have, err := filepath.Glob(filepath.Join(dir, "*.wav"))
	for _, f := range have {
		if !wanted[f] { // nobody says it any more
			os.Remove(f)
		}
	}
	return err
}

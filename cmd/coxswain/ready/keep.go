package ready

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"coxswain/intents/acoustic"
	"coxswain/intents/rehearse"
)

// willKeep says before the reading that a profile cannot be kept there.
func (r *reader) willKeep(path string) error {
	if path == "" {
		return nil
	}
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("--keep %s: the file exists: delete it or choose another name", path)
	}
	if st, err := os.Stat(filepath.Dir(path)); err != nil || !st.IsDir() {
		return fmt.Errorf("--keep %s: there is no folder %s", path, filepath.Dir(path))
	}
	r.keep = path
	return nil
}

// learn learns the voice from what was read, if its profile is to be kept.
func (r *reader) learn(to io.Writer) error {
	if r.keep == "" {
		return nil
	}
	read := rehearse.Understood(r.lines, r.results)
	voice, err := acoustic.LearnVoice(r.v, r.pcm, read, func(share float64) {
		fmt.Fprintf(to, "\rlearning the voice: %3.0f %%", 100*share)
		if share == 1 {
			fmt.Fprintln(to)
		}
	})
	r.pcm = nil
	if err != nil {
		return err
	}
	if err := writeNew(r.keep, voice.Bytes()); err != nil {
		return fmt.Errorf("the voice profile is not kept: %w", err)
	}
	r.kept = fmt.Sprintf("%s, a profile of the voice learned from %d phrases: numbers only, no sound; "+
		"use it with --voice, delete it with rm", r.keep, voice.Phrases)
	return nil
}

// writeNew writes a file that must not exist, whole or not at all; only its owner may read it.
func writeNew(path string, b []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	if err = errors.Join(err, f.Close()); err != nil {
		os.Remove(path)
	}
	return err
}

package acoustic

import (
	"bytes"
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// speak returns text in the voice of flite's slt, which was never trained on:
// 16 kHz, a pause of a second and a half for each full stop, a little dither.
func speak(t testing.TB, text string) []int16 { return speakAs(t, "slt", text) }

// speakAs is speak in another voice of flite.
func speakAs(t testing.TB, voice, text string) []int16 {
	t.Helper()
	if _, err := exec.LookPath("flite"); err != nil {
		t.Skip("no flite: `make test` installs it")
	}
	out := make([]int16, 8000)
	for _, s := range strings.Split(text, ".") {
		if s = strings.TrimSpace(s); s != "" {
			file := filepath.Join(t.TempDir(), "s.wav")
			if b, err := exec.Command("flite", "-voice", voice, "-t", s, "-o", file).CombinedOutput(); err != nil {
				t.Fatalf("flite: %v: %s", err, b)
			}
			b, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			b = b[bytes.Index(b, []byte("data"))+8:]
			for ; len(b) > 1; b = b[2:] {
				out = append(out, int16(binary.LittleEndian.Uint16(b))/2)
			}
		}
		out = append(out, make([]int16, 24000)...)
	}
	seed := uint32(1)
	for i := range out {
		seed = seed*1664525 + 1013904223
		out[i] += int16(seed>>29) - 4
	}
	return out
}

package acoustic

import (
	"encoding/binary"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"coxswain/intents"
)

// TestTrace writes every candidate of the WAV files (16 kHz mono) matching
// $WAVS to $TRACE, for intents/train/calibrate.py. It is a tool, not a check.
func TestTrace(t *testing.T) {
	if os.Getenv("TRACE") == "" {
		t.Skip("set TRACE=out.jsonl and WAVS='dir/*.wav' to write the evidence of every candidate")
	}
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	out, err := os.Create(os.Getenv("TRACE"))
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	enc := json.NewEncoder(out)
	files, _ := filepath.Glob(os.Getenv("WAVS"))
	for _, f := range files {
		r, err := NewTraced(v, func(r intents.Result, features []float64) {
			enc.Encode(map[string]any{"file": filepath.Base(f), "r": r, "f": features})
		})
		if err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		pcm := make([]int16, (len(b)-44)/2)
		for i := range pcm {
			pcm[i] = int16(binary.LittleEndian.Uint16(b[44+2*i:]))
		}
		if _, err := r.Hear(pcm); err != nil {
			t.Fatal(err)
		}
	}
}

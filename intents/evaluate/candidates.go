package evaluate

import (
	"encoding/json"
	"io"
	"path/filepath"

	"coxswain/intents"
	"coxswain/intents/acoustic"
)

// Candidate is a phrase that the built-in recogniser looked at in a recording,
// accepted or not, with the features that its confidence is computed from.
type Candidate struct {
	File     string         `json:"file"` // without its folder
	Result   intents.Result `json:"r"`
	Features []float64      `json:"f"`
	Sounds   [][]float64    `json:"s"` // per phone said: its index in intents.Phones, and features
}

// Candidates writes every candidate in the files as JSON lines, for
// intents/train/judge.py.
func Candidates(files []string, v *intents.Vocabulary, out io.Writer) error {
	enc := json.NewEncoder(out)
	for _, f := range files {
		var failed error
		r, err := acoustic.NewTraced(v, func(r intents.Result, features []float64, sounds [][]float64) {
			if err := enc.Encode(Candidate{filepath.Base(f), r, features, sounds}); err != nil {
				failed = err
			}
		})
		if err != nil {
			return err
		}
		err = Samples(f, func(pcm []int16) error {
			_, err := r.Hear(pcm)
			return err
		})
		if err != nil {
			return err
		}
		if _, err := r.Close(); err != nil {
			return err
		}
		if failed != nil {
			return failed
		}
	}
	return nil
}

package acoustic

import (
	_ "embed"
	"encoding/json"
	"math"
)

// calibration.json is written by intents/train/calibrate.py.
//
//go:embed calibration.json
var calibrationFile []byte

// judge maps the evidence to the probability that the callout was said: one
// hidden layer over scaled features.
type judge struct {
	Mean    []float64   `json:"mean"`
	Scale   []float64   `json:"scale"`
	Hidden  [][]float64 `json:"hidden"`
	Bias    []float64   `json:"bias"`
	Out     []float64   `json:"out"`
	OutBias float64     `json:"out_bias"`
}

var calibration = func() (j struct {
	Phones judge `json:"phones"` // for phrases that the nets were not taught
	Both   judge `json:"both"`   // with the second opinion
}) {
	if err := json.Unmarshal(calibrationFile, &j); err != nil {
		panic("acoustic: calibration.json: " + err.Error()) // embedded: a test would have failed
	}
	return j
}()

// odds are the log odds.
func (j judge) odds(x []float64) float64 {
	z := j.OutBias
	for k, row := range j.Hidden {
		h := j.Bias[k]
		for i, w := range row {
			h += w * (x[i] - j.Mean[i]) / j.Scale[i]
		}
		z += j.Out[k] * math.Tanh(h)
	}
	return z
}

package acoustic

import "math"

// judge maps evidence to the log odds that the callout was said: a layer over
// each sound that was said, pooled by mean and maximum, and a hidden layer over
// these and the scaled features of the whole. intents/train/judge.py fits it.
type judge struct {
	Mean       []float64   `json:"mean"`
	Scale      []float64   `json:"scale"`
	SoundMean  []float64   `json:"sound_mean"`
	SoundScale []float64   `json:"sound_scale"`
	Phone      [][]float64 `json:"phone"` // per phone, what its sort adds to each of the layer's sums
	Sound      [][]float64 `json:"sound"`
	Hidden     [][]float64 `json:"hidden"`
	Bias       []float64   `json:"bias"`
	Out        []float64   `json:"out"`
	OutBias    float64     `json:"out_bias"`
}

// fits reports whether the judge takes n features of the whole.
func (j judge) fits(n int) bool {
	rows := func(m [][]float64, count, width int) bool {
		for _, r := range m {
			if len(r) != width {
				return false
			}
		}
		return len(m) == count
	}
	s := len(j.Sound)
	return len(j.Mean) == n && len(j.Scale) == n && len(j.Bias) == len(j.Out) &&
		len(j.SoundMean) == soundFeatures && len(j.SoundScale) == soundFeatures &&
		rows(j.Phone, phoneCount, s) && rows(j.Sound, s, soundFeatures) && rows(j.Hidden, len(j.Out), n+2*s)
}

// odds are the log odds for features of the whole and the sounds.
func (j judge) odds(x []float64, sounds []spokenPhone) float64 {
	in := make([]float64, len(x), len(x)+2*len(j.Sound))
	for i := range x {
		in[i] = (x[i] - j.Mean[i]) / j.Scale[i]
	}
	in = append(in, j.pool(sounds)...)
	z := j.OutBias
	for k, row := range j.Hidden {
		h := j.Bias[k]
		for i, w := range row {
			h += w * in[i]
		}
		z += j.Out[k] * math.Tanh(h)
	}
	return z
}

// pool is the mean and the maximum over the sounds of each of the layer's outputs.
func (j judge) pool(sounds []spokenPhone) []float64 {
	n := len(j.Sound)
	out := make([]float64, 2*n)
	for i := range n {
		out[n+i] = -1
	}
	for _, s := range sounds {
		for i, row := range j.Sound {
			h := j.Phone[s.phone][i]
			for k, w := range row {
				h += w * (s.evidence[k] - j.SoundMean[k]) / j.SoundScale[k]
			}
			h = math.Tanh(h)
			out[i] += h / float64(len(sounds))
			out[n+i] = math.Max(out[n+i], h)
		}
	}
	return out
}

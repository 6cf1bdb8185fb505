package acoustic

import (
	"math"
	"sync"
)

// ensemble is two nets whose log posteriors are averaged: one hears the bands as
// they are, the other each band less its running mean, which takes away the
// colour of a room, a voice and a microphone. Together they know voices that
// neither was trained on better than each alone (intents/train/README.md).
type ensemble struct {
	plain, level *net
	mean         []float32 // of each band, over about 4 s
	less         []float32
	second       []float32 // the level net's last output
}

// meanOver is the time constant of the running mean, in frames.
const meanOver = 400

var shared = sync.OnceValues(func() (both [2]*weights, err error) {
	if both[0], err = loadWeights(weightsFile); err == nil {
		both[1], err = loadWeights(levelFile)
	}
	return both, err
})

func newEnsemble(w [2]*weights) *ensemble {
	return &ensemble{plain: newNet(w[0]), level: newNet(w[1]), less: make([]float32, bands), second: make([]float32, w[1].phoneNum)}
}

// push takes one log-mel frame and calls emit with log posteriors when an
// output is due. emit must not keep the slice.
func (e *ensemble) push(mel []float32, emit func([]float32)) {
	if e.mean == nil {
		e.mean = append(e.mean, mel...)
	}
	for i, x := range mel {
		e.mean[i] += (x - e.mean[i]) / meanOver
		e.less[i] = x - e.mean[i]
	}
	e.level.push(e.less, func(lp []float32) { copy(e.second, lp) })
	e.plain.push(mel, func(lp []float32) {
		sum := 0.0
		for i := range lp {
			lp[i] = (lp[i] + e.second[i]) / 2
			sum += math.Exp(float64(lp[i]))
		}
		lse := float32(math.Log(sum))
		for i := range lp {
			lp[i] -= lse
		}
		emit(lp)
	})
}

package acoustic

import (
	"fmt"
	"sync"
)

// ensemble is some nets whose log posteriors are averaged. Some of them use mean
// normalisation: each band less its running mean, which takes away the colour of a
// room, a voice and a microphone. Each has its own vocal tract length normalisation: it
// hears the frequency axis as of a throat that is longer or shorter by some percent.
// Together they know voices that none was trained on better than each alone
// (intents/train/README.md).
type ensemble struct {
	nets  []*net
	mean  [][]float32 // per net and band, over about 4 s
	less  []float32
	phone []float32 // log posteriors of the phones
	call  []float32 // and of the callout that has just ended: see callouts.tsv
}

// meanOver is the time constant of the mean normalisation, in frames of 10 ms.
const meanOver = 400

var shared = sync.OnceValues(func() (all []*weights, err error) {
	files, err := weightFiles.ReadDir(".")
	for _, f := range files {
		b, err := weightFiles.ReadFile(f.Name())
		if err != nil {
			return nil, err
		}
		w, err := loadWeights(b)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f.Name(), err)
		}
		all = append(all, w)
	}
	return all, err
})

func newEnsemble(all []*weights) *ensemble {
	e := &ensemble{
		less:  make([]float32, bands),
		phone: make([]float32, all[0].phoneNum),
		call:  make([]float32, len(all[0].cb)),
	}
	for _, w := range all {
		e.nets, e.mean = append(e.nets, newNet(w)), append(e.mean, nil)
	}
	return e
}

// warps are the banks that the nets want, in their order.
func (e *ensemble) warps() (out []float64) {
	for _, n := range e.nets {
		out = append(out, n.w.warp)
	}
	return out
}

// push takes one log-mel frame for each net and reports whether e.phone and
// e.call are new.
func (e *ensemble) push(mels [][]float32) bool {
	due := false
	for k, n := range e.nets {
		if !n.w.meanNorm {
			due = n.push(mels[k])
			continue
		}
		if e.mean[k] == nil {
			e.mean[k] = append(e.mean[k], mels[k]...)
		}
		for i, x := range mels[k] {
			e.mean[k][i] += (x - e.mean[k][i]) / meanOver
			e.less[i] = x - e.mean[k][i]
		}
		due = n.push(e.less)
	}
	if !due {
		return false
	}
	clear(e.phone)
	clear(e.call)
	for _, n := range e.nets {
		for i, x := range n.out {
			e.phone[i] += x / float32(len(e.nets))
		}
		for i, x := range n.call {
			e.call[i] += x / float32(len(e.nets))
		}
	}
	normalise(e.phone)
	normalise(e.call)
	return true
}

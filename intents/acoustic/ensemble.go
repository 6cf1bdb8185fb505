package acoustic

import "math"

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
	phone []float32 // log posteriors of the phones, of a batch of outputs
	call  []float32 // and of the callout that has just ended: see callouts.tsv
}

// meanOver is the time constant of the mean normalisation, in frames of 10 ms.
const meanOver = 400

// gainOver is that of the energy that a band is measured against, in frames.
const gainOver = 40

func newEnsemble(all []*weights) *ensemble {
	e := &ensemble{
		less:  make([]float32, bands),
		phone: make([]float32, batch*all[0].phoneNum),
		call:  make([]float32, batch*len(all[0].cb)),
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
		due = n.push(e.ear(k, mels[k]))
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
	normaliseRows(e.phone)
	normaliseRows(e.call)
	return true
}

// output is the log posteriors of one of a batch.
func (e *ensemble) output(i int) (phone, call []float32) {
	n, m := len(e.phone)/batch, len(e.call)/batch
	return e.phone[i*n : (i+1)*n], e.call[i*m : (i+1)*m]
}

// ear is what net k makes of a frame before it hears it.
func (e *ensemble) ear(k int, mel []float32) []float32 {
	switch e.nets[k].w.ear {
	case earLevel:
		return e.level(k, mel)
	case earGain:
		return e.gain(k, mel)
	}
	return mel
}

// level is each band of mel less its running mean.
func (e *ensemble) level(k int, mel []float32) []float32 {
	if e.mean[k] == nil {
		e.mean[k] = append(e.mean[k], mel...)
	}
	for i, x := range mel {
		e.mean[k][i] += (x - e.mean[k][i]) / meanOver
		e.less[i] = x - e.mean[k][i]
	}
	return e.less
}

// gain is each band's energy over a power of its smoothed energy, compressed:
// (E/M^a + d)^r - d^r. What is steady, and the tail of an echo, sinks.
func (e *ensemble) gain(k int, mel []float32) []float32 {
	w := e.nets[k].w.gain
	first := e.mean[k] == nil
	if first {
		e.mean[k] = make([]float32, len(mel))
	}
	for i, x := range mel {
		l := 4 * (float64(x) - 1) // see logMel
		energy := math.Exp(l)
		if first {
			e.mean[k][i] = float32(energy)
		}
		e.mean[k][i] += (float32(energy) - e.mean[k][i]) / gainOver
		a, d, r := float64(w[i]), float64(w[bands+i]), float64(w[2*bands+i])
		e.less[i] = float32(math.Pow(energy*math.Pow(float64(e.mean[k][i]), -a)+d, r) - math.Pow(d, r))
	}
	return e.less
}

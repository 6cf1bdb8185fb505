package acoustic

// Whoever speaks far softer than a callout is somebody else, at the next bed: their words stand in
// no breath of it, neither to forbid it nor to be strange beside it.
const (
	softRatio  = 63  // by which the loudest 20 ms must be louder: 18 dB; a "no" before a callout is some 10 below it
	softWithin = 100 // frames around in which they are looked for: 2 s
	softPeak   = 4   // frames around one whose loudest counts: a stop in a word is no pause
	softLeast  = 10  // frames that tell: in fewer there may be but a stop
	levelAhead = 6   // frames of which the level is known before they are decoded: see lookahead
)

// listenTo takes the energy of samples that begin with number at, for each frame.
func (d *decoder) listenTo(at int64, pcm []int16) {
	for i, x := range pcm {
		t := at + int64(i)
		k := t / frameHop % int64(len(d.level))
		if t%frameHop == 0 {
			d.level[k] = 0
		}
		d.level[k] += int64(x) * int64(x)
	}
}

// loudest is the most energy of a frame in [from, to), as far as it is known.
func (d *decoder) loudest(from, to int) (most int64) {
	for t := max(0, from, d.frame-keepFrames+1); t < min(to, d.frame+levelAhead); t++ {
		most = max(most, d.level[t%len(d.level)])
	}
	return most
}

// soft reports whether frames [from, to) are far softer than what is loudest around them.
func (d *decoder) soft(from, to int) bool {
	return d.loudest(from, to)*softRatio < d.loudest(from-softWithin, to+softWithin)
}

// silent reports whether nobody speaks in a frame, or somebody far softer than others around it.
func (d *decoder) silent(t int) bool {
	return d.sil[t%keepFrames] >= 0.5 || d.soft(t-softPeak, t+softPeak+1)
}

// hushed is the mean probability over frames [a, b) that none speaks, or only somebody far softer.
func (d *decoder) hushed(a, b int) float64 {
	if a >= 0 && a < b && d.soft(a, b) {
		return 1
	}
	return d.quiet(a, b)
}

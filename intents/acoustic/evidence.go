package acoustic

import "math"

// evidence is what the alignment of a phrase says for and against it.
type evidence struct {
	average   float64 // mean log ratio of the phrase's frames
	worstWord float64 // of its worst word
	worstRun  float64 // of its worst three phones in a row
	squeezed  float64 // share of phones that got one frame
	phones    float64
	before    float64 // silence just before, 0..1
	after     float64 // silence just after, 0..1
	margin    float64 // score over the best other callout, a frame
	pauses    float64 // share of silence inside
	below     float64 // mean log ratio under what the net's own certainty lets expect
	deviation float64 // the same in standard deviations
	worstDev  float64 // of its worst word, in standard deviations
	top       float64 // mean log probability of the best phone
	opinion   opinion
}

// settle returns the words said and the evidence. Where a number was said, a
// usual one is taken unless another fits clearly better: of "fifteen" and
// "fifty", the dose that is given is the likelier.
func (d *decoder) settle(c candidate) ([]string, evidence) {
	any, usual := d.align(d.g, c, d.g.spans[c.phrase], nil), alignment{at: -1}
	for _, sp := range d.g.usual[c.phrase] {
		if a := d.align(d.g, c, sp, nil); a.at >= 0 && (usual.at < 0 || a.score > usual.score) {
			usual = a
		}
	}
	if usual.at >= 0 && usual.score+tuned.usual > any.score {
		return d.measure(c, usual)
	}
	return d.measure(c, any)
}

// alignment is the Viterbi path of a phrase over its frames.
type alignment struct {
	sp    span
	back  []int32 // per frame and state, where the path came from
	at    int     // last state; -1: no path
	score float64
}

// align finds the Viterbi path of a phrase over its frames. It begins with the first of
// them or, if enter is given, at any frame that enter has a score for.
func (d *decoder) align(g *graph, c candidate, sp span, enter []float32) alignment {
	n, m := c.end-c.start+1, int(sp.hi-sp.lo)
	back := make([]int32, n*m)
	old, now := make([]float32, m), make([]float32, m)
	for i := range old {
		old[i] = dead
	}
	for t := range n {
		row := d.llr[(c.start+t)%keepFrames]
		for i := range m {
			s := &g.states[int(sp.lo)+i]
			best, from := old[i], int32(i)
			for _, p := range g.joins[s.join] {
				if q := p - sp.lo; old[q] > best {
					best, from = old[q], q
				}
			}
			if s.entry && t == 0 && enter == nil {
				best, from = 0, -1
			} else if s.entry && t < len(enter) && enter[t] > best {
				best, from = enter[t], -1
			}
			now[i], back[t*m+i] = best+row[s.phone], from
			if s.phone != silence {
				now[i] += float32(tuned.bonus)
			}
		}
		old, now = now, old
	}
	if at := g.bestFinal(sp, old); at >= 0 {
		return alignment{sp, back, at, float64(old[at])}
	}
	return alignment{sp, back, -1, 0}
}

// bestFinal is the final state of a span with the highest score; -1: none is alive.
func (g *graph) bestFinal(sp span, score []float32) int {
	at := -1
	for i, x := range score {
		if g.states[int(sp.lo)+i].final && (at < 0 || x > score[at]) {
			at = i
		}
	}
	if at < 0 || score[at] <= dead/2 {
		return -1
	}
	return at
}

// seg is one phone of an alignment.
type seg struct {
	state    int32
	from, to int // frames, to exclusive
	sum      float64
	diff     float64 // sum less what was to be expected
	variance float64
	top      float64
}

func (d *decoder) measure(c candidate, a alignment) ([]string, evidence) {
	var segs []seg
	sp, at, n, m := a.sp, a.at, c.end-c.start+1, int(a.sp.hi-a.sp.lo)
	for t := n - 1; t >= 0 && at >= 0; t-- {
		if len(segs) == 0 || segs[len(segs)-1].state != int32(at) {
			segs = append(segs, seg{state: int32(at), to: t + 1})
		}
		s := &segs[len(segs)-1]
		s.from = t
		k := (c.start + t) % keepFrames
		x, b := d.llr[k][d.g.states[sp.lo+int32(at)].phone], d.belief[k]
		s.sum += float64(x)
		s.diff, s.variance, s.top = s.diff+float64(x-b.mean), s.variance+float64(b.variance), s.top+float64(b.top)
		at = int(a.back[t*m+at])
	}
	for i, j := 0, len(segs)-1; i < j; i, j = i+1, j-1 {
		segs[i], segs[j] = segs[j], segs[i]
	}
	return d.weigh(c, sp, segs, n)
}

// tally sums the evidence of some phones in a row.
type tally struct {
	sum, diff, variance, top float64
	frames                   int
}

func (t *tally) add(s seg) {
	t.sum, t.diff, t.variance, t.top = t.sum+s.sum, t.diff+s.diff, t.variance+s.variance, t.top+s.top
	t.frames += s.to - s.from
}

func (t tally) average() float64   { return t.sum / math.Max(1, float64(t.frames)) }
func (t tally) deviation() float64 { return t.diff / math.Sqrt(t.variance+.1*float64(t.frames)+1) }

// weigh makes the evidence of an alignment.
func (d *decoder) weigh(c candidate, sp span, segs []seg, n int) ([]string, evidence) {
	var said []string
	var all, word tally
	var spoken []seg
	ev := evidence{margin: 3}
	silent := 0
	flush := func() {
		if word.frames > 0 {
			ev.worstWord, ev.worstDev = math.Min(ev.worstWord, word.average()), math.Min(ev.worstDev, word.deviation())
		}
		word = tally{}
	}
	for _, s := range segs {
		st := d.g.states[sp.lo+s.state]
		if st.phone == silence {
			silent += s.to - s.from
			continue
		}
		if st.word >= 0 {
			flush()
			said = append(said, d.g.words[st.word])
		}
		spoken = append(spoken, s)
		word.add(s)
		all.add(s)
		if s.to-s.from == 1 {
			ev.squeezed++
		}
	}
	flush()
	for i := 0; i+3 <= len(spoken); i++ {
		var run tally
		for _, s := range spoken[i : i+3] {
			run.add(s)
		}
		ev.worstRun = math.Min(ev.worstRun, run.average())
	}
	ev.phones = float64(len(spoken))
	ev.squeezed /= math.Max(1, ev.phones)
	frames := math.Max(1, float64(all.frames))
	ev.average, ev.below, ev.deviation, ev.top = all.average(), all.diff/frames, all.deviation(), all.top/frames
	ev.pauses = float64(silent) / float64(n)
	ev.before, ev.after = d.quiet(c.start-10, c.start-2), d.quiet(c.end+2, c.end+holdFrames)
	ev.margin, ev.opinion = math.Min(3, c.margin), c.opinion
	return said, ev
}

// quiet is the mean probability of silence over frames [a, b).
func (d *decoder) quiet(a, b int) float64 {
	sum, n := 0.0, 0
	for t := a; t < b; t++ {
		if t < 0 {
			sum, n = sum+1, n+1
		} else if t < d.frame && t > d.frame-keepFrames {
			sum, n = sum+float64(d.sil[t%keepFrames]), n+1
		}
	}
	if n == 0 {
		return 1
	}
	return sum / float64(n)
}

// features are what the confidence is computed from, in the order that
// calibration.json was fitted with; those of the second opinion come last.
func (e evidence) features() []float64 {
	o := e.opinion
	return []float64{
		1,
		e.average,
		e.worstWord,
		e.worstRun,
		e.squeezed,
		math.Min(e.phones, 25) / 10,
		e.before,
		e.after,
		e.before * e.after,
		e.margin,
		e.pauses,
		math.Min(0, e.worstWord+1.5),
		1 / math.Max(4, e.phones),
		e.below,
		e.deviation,
		e.worstDev,
		e.top,
		e.below * e.top,
		math.Min(0, e.worstDev+2),
		o.said,
		o.other,
		o.none,
		o.said - o.other,
	}
}

const opinions = 4 // features of the second opinion

// atBest is the confidence if the phrase had silence on both sides.
func (e evidence) atBest() float64 {
	e.before, e.after = 1, 1
	return e.confidence()
}

// confidence is the probability that the callout was said: two judges' log odds,
// averaged where the second opinion knows the phrase. One judge alone trusts that
// opinion too much with voices that are new to it.
func (e evidence) confidence() float64 {
	f := e.features()
	z := calibration.Phones.odds(f[:len(f)-opinions])
	if e.opinion.known {
		z = (z + calibration.Both.odds(f)) / 2
	}
	return 1 / (1 + math.Exp(-z))
}

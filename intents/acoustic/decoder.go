package acoustic

import (
	"math"

	"coxswain/intents"
)

// Decoder constants, in frames of 20 ms and natural-log units. They were set
// on the development set of intents/train/README.md.
const (
	holdFrames = 9    // silence or other speech heard before a phrase is final
	keepFrames = 1024 // history for the alignment of a phrase: 20 s

	frameHop  = 320  // samples a frame
	pauseCost = 0.3  // of a frame of silence inside a phrase
	birth     = -3.0 // no path begins with a phone that fits worse
)

// alike are phones that speakers of English use for each other in the words
// of the lexicon: weak vowels, the flap, cot and caught, final devoicing.
var alike = func() (out []struct {
	a, b int
	cost float32
}) {
	for _, x := range []struct {
		a, b string
		cost float32
	}{{"AH", "IH", .7}, {"AA", "AO", .5}, {"T", "D", 1}, {"S", "Z", 1}, {"UH", "UW", .7}, {"IH", "IY", 1.2}, {"AH", "EH", 1.2}, {"AH", "AA", 1.2}} {
		out = append(out, struct {
			a, b int
			cost float32
		}{intents.PhoneIndex(x.a), intents.PhoneIndex(x.b), x.cost})
	}
	return out
}()

// tuning are the decoder's weights.
type tuning struct {
	sharp      float64 // below 1, the net's posteriors are taken less sharply than it gives them
	priorScale float64 // how much of the phones' priors is divided out
	bonus      float64 // credit of a phrase's frame over the free phone path
	worst      float64 // no single frame counts worse than this
	minAverage float64 // candidates below are not looked at closely
}

var tuned = tuning{sharp: 0.7, priorScale: 0.4, bonus: 0.9, worst: -3, minAverage: -1.1}

// candidate is a phrase that may have ended.
type candidate struct {
	phrase     int
	start, end int // frames, end inclusive
	score      float64
}

// decoder searches phrases in a stream of phone posteriors.
type decoder struct {
	g       *graph
	priors  []float32
	frame   int         // frames seen
	llr     [][]float32 // ring: per frame and phone, log ratio to the best free phone
	sil     []float32   // ring: probability of silence
	live    []bool      // per phrase: some path is alive
	score   [2][]float32
	start   [2][]int32
	best    candidate
	have    bool
	rival   float64 // best score of another callout over the same time
	blocked int     // phrases may not start before this frame
}

const dead = float32(-1e9)

func newDecoder(g *graph, priors []float32) *decoder {
	d := &decoder{g: g, priors: priors, llr: make([][]float32, keepFrames), sil: make([]float32, keepFrames), rival: math.Inf(-1)}
	d.live = make([]bool, len(g.spans))
	for i := range d.llr {
		d.llr[i] = make([]float32, len(priors))
	}
	for i := range d.score {
		d.score[i] = make([]float32, len(g.states))
		d.start[i] = make([]int32, len(g.states))
		for k := range d.score[i] {
			d.score[i][k] = dead
		}
	}
	return d
}

// push takes the log posteriors of one frame and returns a phrase that became
// final with it.
func (d *decoder) push(lp []float32) (candidate, bool) {
	row := d.llr[d.frame%keepFrames]
	free := dead
	for p := range lp {
		row[p] = float32(tuned.sharp)*lp[p] - float32(tuned.priorScale)*d.priors[p]
		free = max(free, row[p])
	}
	for p := range row {
		row[p] = max(float32(tuned.worst), row[p]-free)
	}
	for _, x := range alike {
		a, b := row[x.a], row[x.b]
		row[x.a], row[x.b] = max(a, b-x.cost), max(b, a-x.cost)
	}
	d.sil[d.frame%keepFrames] = float32(math.Exp(float64(lp[silence])))
	d.advance(row)
	c, ok := d.endings()
	d.frame++
	return c, ok
}

// advance moves every phrase's paths on by one frame. Phrases that nothing
// speaks for cost nothing.
func (d *decoder) advance(row []float32) {
	open := d.frame >= d.blocked
	for k, sp := range d.g.spans {
		if !d.live[k] && !(open && d.promising(sp, row)) {
			continue
		}
		d.live[k] = d.step(sp, row, open)
	}
}

// promising reports whether a path may begin in a phrase at this frame. In
// speech any may: a weak first consonant must not keep a phrase from starting.
func (d *decoder) promising(sp span, row []float32) bool {
	if row[silence] < 0 {
		return true
	}
	for _, i := range d.g.entries[sp.lo] {
		if row[d.g.states[i].phone] > birth {
			return true
		}
	}
	return false
}

// step moves the paths of one phrase on and reports whether any is alive.
func (d *decoder) step(sp span, row []float32, open bool) bool {
	old, now := d.score[d.frame&1], d.score[d.frame&1^1]
	oldS, nowS := d.start[d.frame&1], d.start[d.frame&1^1]
	alive := false
	for i := sp.lo; i < sp.hi; i++ {
		s := &d.g.states[i]
		best, from := old[i], oldS[i]
		for _, p := range s.pred {
			if old[p] > best {
				best, from = old[p], oldS[p]
			}
		}
		if s.entry && open && best < 0 && (row[silence] < 0 || row[s.phone] > birth) {
			best, from = 0, int32(d.frame)
		}
		if best > dead {
			best += row[s.phone]
			if s.phone != silence {
				best += float32(tuned.bonus)
			} else {
				best -= pauseCost
			}
			if best < -6 {
				best = dead
			} else {
				alive = true
			}
		}
		now[i], nowS[i] = best, from
	}
	if !alive { // both buffers must say so, for the frame after next
		for i := sp.lo; i < sp.hi; i++ {
			old[i] = dead
		}
	}
	return alive
}

// endings looks for phrases that end at this frame and decides when the best
// one is final: no better one that overlaps came for holdFrames.
func (d *decoder) endings() (out candidate, final bool) {
	score, start := d.score[d.frame&1^1], d.start[d.frame&1^1]
	for k, sp := range d.g.spans {
		if !d.live[k] {
			continue
		}
		for i := sp.lo; i < sp.hi; i++ {
			if !d.g.states[i].final || score[i] <= 0 {
				continue
			}
			c := candidate{k, int(start[i]), d.frame, float64(score[i])}
			n := float64(c.end - c.start + 1)
			if c.score/n-tuned.bonus < tuned.minAverage || n < 12 {
				continue
			}
			switch {
			case !d.have:
				d.best, d.have, d.rival = c, true, math.Inf(-1)
			case c.start > d.best.end-3: // what comes after is another callout
				if !final {
					out, final = d.best, true
					d.best = c
				}
			case c.score > d.best.score:
				if d.other(c) {
					d.rival = math.Max(d.rival, d.best.score)
				}
				d.best = c
			case d.other(c):
				d.rival = math.Max(d.rival, c.score)
			}
		}
	}
	if !final && d.have && d.frame-d.best.end >= holdFrames && !d.growing(score, start) {
		out, final = d.best, true
		d.have = false
	}
	return out, final
}

// growing reports whether a longer phrase is on its way: "shock delivered"
// must not be final in the middle of "shock delivered two hundred joules".
func (d *decoder) growing(score []float32, start []int32) bool {
	if d.frame-d.best.end > 4*holdFrames {
		return false
	}
	for i, x := range score {
		if float64(x) > d.best.score+1 && int(start[i]) < d.best.end-3 {
			return true
		}
	}
	return false
}

func (d *decoder) other(c candidate) bool {
	return d.g.phrases[c.phrase].Callout.ID != d.g.phrases[d.best.phrase].Callout.ID
}

// clear forgets all paths that overlap a phrase that was accepted.
func (d *decoder) clear(c candidate) {
	now, start := d.score[d.frame&1], d.start[d.frame&1]
	for i := range now {
		if int(start[i]) < c.end-2 {
			now[i] = dead
		}
	}
	d.blocked = c.end - 2
	if d.have && d.best.start < c.end-2 {
		d.have = false
	}
}

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
}

// align finds the best path of a phrase over its frames and returns the words
// said and the evidence.
func (d *decoder) align(c candidate) ([]string, evidence) {
	sp := d.g.spans[c.phrase]
	n, m := c.end-c.start+1, int(sp.hi-sp.lo)
	back := make([]int32, n*m)
	old, now := make([]float32, m), make([]float32, m)
	for i := range old {
		old[i] = dead
	}
	for t := range n {
		row := d.llr[(c.start+t)%keepFrames]
		for i := range m {
			s := &d.g.states[int(sp.lo)+i]
			best, from := old[i], int32(i)
			for _, p := range s.pred {
				if q := p - sp.lo; old[q] > best {
					best, from = old[q], q
				}
			}
			if s.entry && t == 0 {
				best, from = 0, -1
			}
			now[i], back[t*m+i] = best+row[s.phone], from
			if s.phone != silence {
				now[i] += float32(tuned.bonus)
			}
		}
		old, now = now, old
	}
	at := -1
	for i := range m {
		if d.g.states[int(sp.lo)+i].final && (at < 0 || old[i] > old[at]) {
			at = i
		}
	}
	return d.measure(c, sp, back, at, n, m)
}

// seg is one phone of an alignment.
type seg struct {
	state    int32
	from, to int // frames, to exclusive
	sum      float64
}

func (d *decoder) measure(c candidate, sp span, back []int32, at, n, m int) ([]string, evidence) {
	var segs []seg
	for t := n - 1; t >= 0 && at >= 0; t-- {
		if len(segs) == 0 || segs[len(segs)-1].state != int32(at) {
			segs = append(segs, seg{state: int32(at), to: t + 1})
		}
		s := &segs[len(segs)-1]
		s.from = t
		s.sum += float64(d.llr[(c.start+t)%keepFrames][d.g.states[sp.lo+int32(at)].phone])
		at = int(back[t*m+at])
	}
	for i, j := 0, len(segs)-1; i < j; i, j = i+1, j-1 {
		segs[i], segs[j] = segs[j], segs[i]
	}
	var said []string
	ev := evidence{worstWord: 0, worstRun: 0, margin: 3}
	var sum, wordSum float64
	var frames, wordFrames, silent int
	flush := func() {
		if wordFrames > 0 {
			ev.worstWord = math.Min(ev.worstWord, wordSum/float64(wordFrames))
		}
		wordSum, wordFrames = 0, 0
	}
	var spoken []seg
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
		wordSum, wordFrames = wordSum+s.sum, wordFrames+s.to-s.from
		sum, frames = sum+s.sum, frames+s.to-s.from
		if s.to-s.from == 1 {
			ev.squeezed++
		}
	}
	flush()
	for i := 0; i+3 <= len(spoken); i++ {
		a, b := spoken[i], spoken[i+2]
		ev.worstRun = math.Min(ev.worstRun, (a.sum+spoken[i+1].sum+b.sum)/float64(a.to-a.from+spoken[i+1].to-spoken[i+1].from+b.to-b.from))
	}
	ev.phones = float64(len(spoken))
	ev.squeezed /= math.Max(1, ev.phones)
	ev.average = sum / math.Max(1, float64(frames))
	ev.pauses = float64(silent) / float64(n)
	ev.before, ev.after = d.quiet(c.start-10, c.start-2), d.quiet(c.end+2, c.end+holdFrames)
	if !math.IsInf(d.rival, -1) {
		ev.margin = math.Min(3, (c.score-d.rival)/float64(n))
	}
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

// features are what the confidence is computed from, in the order of the
// coefficients in calibration.go.
func (e evidence) features() []float64 {
	return []float64{1, e.average, e.worstWord, e.worstRun, e.squeezed, math.Min(e.phones, 25) / 10, e.before, e.after, e.before * e.after, e.margin, e.pauses, math.Min(0, e.worstWord+1.5), 1 / math.Max(4, e.phones)}
}

func (e evidence) confidence() float64 {
	z := 0.0
	for i, x := range e.features() {
		z += calibration[i] * x
	}
	return 1 / (1 + math.Exp(-z))
}

var _ intents.Recogniser = (*Recogniser)(nil)

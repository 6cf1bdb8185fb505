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
	belief  []belief    // ring: what the net itself expects of a frame
	last    []int32     // per phrase: its last live state; -1: no path is alive
	score   [2][]float32
	start   [2][]int32
	arrive  []arrival // per join, of this frame
	best    candidate
	have    bool
	rival   float64 // best score of another callout over the same time
	blocked int     // phrases may not start before this frame
}

// arrival is the best path that ends at a join.
type arrival struct {
	score float32
	start int32
}

// belief is how sure the net is of a frame: in noise, even the phone that was
// said cannot reach a high log ratio, and must not be held to one.
type belief struct {
	mean, variance float32 // of the log ratio, if the phone is drawn from the posteriors
	top            float32 // log probability of the best phone
}

const dead = float32(-1e9)

func newDecoder(g *graph, priors []float32) *decoder {
	d := &decoder{g: g, priors: priors, llr: make([][]float32, keepFrames), sil: make([]float32, keepFrames), rival: math.Inf(-1)}
	d.last = make([]int32, len(g.spans))
	for i := range d.last {
		d.last[i] = -1
	}
	d.belief = make([]belief, keepFrames)
	d.arrive = make([]arrival, len(g.joins))
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
	d.belief[d.frame%keepFrames] = believe(lp, row)
	d.sil[d.frame%keepFrames] = float32(math.Exp(float64(lp[silence])))
	d.advance(row)
	c, ok := d.endings()
	d.frame++
	return c, ok
}

func believe(lp, row []float32) belief {
	b := belief{top: dead}
	var square float32
	for p, x := range row {
		q := float32(math.Exp(float64(lp[p])))
		b.mean += q * x
		square += q * x * x
		b.top = max(b.top, lp[p])
	}
	b.variance = max(0, square-b.mean*b.mean)
	return b
}

// advance moves every phrase's paths on by one frame. Phrases that nothing
// speaks for cost nothing.
func (d *decoder) advance(row []float32) {
	open := d.frame >= d.blocked
	for k, sp := range d.g.spans {
		if d.last[k] < 0 && !(open && d.promising(sp, row)) {
			continue
		}
		d.last[k] = d.step(sp, row, open, d.ahead(k, sp, open))
	}
}

// promising reports whether a path may begin in a phrase at this frame. In
// speech any may: a weak first consonant must not keep a phrase from starting.
// Phrases that begin with a number have so many ways in that each must show.
func (d *decoder) promising(sp span, row []float32) bool {
	if row[silence] < 0 && !sp.number {
		return true
	}
	for _, i := range d.g.entries[sp.lo] {
		if row[d.g.states[i].phone] > birth {
			return true
		}
	}
	return false
}

// ahead is the state after the last one that can be alive in this frame.
func (d *decoder) ahead(k int, sp span, open bool) int32 {
	end := sp.lo
	if d.last[k] >= 0 {
		end = d.g.states[d.last[k]].reach + 1
	}
	if in := d.g.entries[sp.lo]; open && len(in) > 0 {
		end = max(end, in[len(in)-1]+1)
	}
	return end
}

// step moves the paths of one phrase on and returns its last live state, or -1.
// States from end on are dead before and after.
func (d *decoder) step(sp span, row []float32, open bool, end int32) int32 {
	old, now := d.score[d.frame&1], d.score[d.frame&1^1]
	oldS, nowS := d.start[d.frame&1], d.start[d.frame&1^1]
	for j := sp.joinLo; j <= d.g.states[end-1].topJoin; j++ {
		a := arrival{dead, 0}
		for _, p := range d.g.joins[j] {
			if old[p] > a.score {
				a = arrival{old[p], oldS[p]}
			}
		}
		d.arrive[j] = a
	}
	last := int32(-1)
	for i := sp.lo; i < end; i++ {
		s := &d.g.states[i]
		best, from := old[i], oldS[i]
		if a := d.arrive[s.join]; a.score > best {
			best, from = a.score, a.start
		}
		if s.entry && open && best < 0 && (row[s.phone] > birth || row[silence] < 0 && !sp.number) {
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
				last = i
			}
		}
		now[i], nowS[i] = best, from
	}
	for i := max(sp.lo, last+1); i < end; i++ { // both buffers must say so, for the frame after next
		old[i] = dead
	}
	return last
}

// endings looks for phrases that end at this frame and decides when the best
// one is final: no better one that overlaps came for holdFrames.
func (d *decoder) endings() (out candidate, final bool) {
	score, start := d.score[d.frame&1^1], d.start[d.frame&1^1]
	for k, sp := range d.g.spans {
		if d.last[k] < 0 {
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

var _ intents.Recogniser = (*Recogniser)(nil)

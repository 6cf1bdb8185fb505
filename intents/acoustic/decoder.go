package acoustic

import (
	"math"
	"math/bits"

	"coxswain/intents"
)

// Decoder constants, in frames of 20 ms and natural-log units. They were set
// on the development set of intents/train/README.md.
const (
	holdFrames  = 8    // silence or other speech heard before a phrase is final
	leastFrames = 12   // a phrase takes longer
	leastAnswer = 6    // and one that only answers a question: a lone "no"
	keepFrames  = 1024 // history for the alignment of a phrase: 20 s

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
	}{{"AH", "IH", .7}, {"AA", "AO", .5}, {"T", "D", 1}, {"S", "Z", 1},
		{"UH", "UW", .7}, {"IH", "IY", 1.2}, {"AH", "EH", 1.2}, {"AH", "AA", 1.2}} {
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
	usual      float64 // advantage of a usual number
	trust      float64 // weight of the second opinion
	talk       float64 // handicap of talk: a callout lost is worse than one to take back
	inflected  float64 // handicap of another form of a callout's words
	lost       float32 // paths below are given up
}

var tuned = tuning{
	sharp:      0.7,
	priorScale: 0.4,
	bonus:      0.9,
	worst:      -3,
	minAverage: -1.4,
	usual:      2,
	trust:      3,
	talk:       4,
	inflected:  1.5,
	lost:       -8,
}

// candidate is a phrase that may have ended.
type candidate struct {
	phrase     int
	start, end int // frames, end inclusive
	score      float64
	margin     float64 // over the best other callout of the same time, a frame
	opinion    opinion
	total      float64    // score with the second opinion
	rival      *candidate // the best of another callout; nil: none was near
	bare       *candidate // of one with a number: the best of its callout without; nil: none
	next       *candidate // what to take it for if it proves to be nothing; nil: for nothing
}

// decoder searches phrases in a stream of phone posteriors.
type decoder struct {
	g       *graph
	priors  []float32
	frame   int         // frames seen
	llr     [][]float32 // ring: per frame and phone, log ratio to the filler, which is the best free phone
	level   []int64     // ring: energy of the samples of a frame, a little ahead: see soft
	sil     []float32   // ring: probability of silence
	belief  []belief    // ring: what the net itself expects of a frame
	live    []tokens    // per search
	jumps   []path      // tokens of the search that is looked at that go on to a state not next to theirs
	arrived front       // and those that go on to several
	emits   [64]float32 // by phone: what this frame adds to a token's score
	calls   [][]float32 // ring: what the nets think has just been called out
	best    candidate
	have    bool
	asked   int         // frame of the last proposal
	pending []candidate // the best of each callout over the time of best, with and without a number
	places  []int32     // by kind: where it stands in pending, if it does: see front
	answers bool        // phrases that only answer a question are searched too
	blocked int         // phrases may not start before this frame
	held    []candidate // phrases that wait for the end of their breath
	said    []candidate // and that may have been said in the last breath: see within
}

// belief is how sure the net is of a frame. In noise the posteriors are flat, and even
// the phone that was said has a low log ratio: it is judged against what such flat
// posteriors let expect.
type belief struct {
	mean, variance float32 // of the log ratio, if the phone is drawn from the posteriors
	top            float32 // log probability of the best phone
}

const dead = float32(-1e9)

func newDecoder(g *graph, priors []float32) *decoder {
	d := &decoder{
		g:      g,
		priors: priors,
		llr:    make([][]float32, keepFrames),
		sil:    make([]float32, keepFrames),
		calls:  make([][]float32, keepFrames),
	}
	for _, s := range g.searches {
		d.live = append(d.live, newTokens(int(s.hi-s.lo)))
	}
	d.belief, d.level = make([]belief, keepFrames), make([]int64, keepFrames+64)
	d.places = make([]int32, len(g.kinds))
	for i := range d.llr {
		d.llr[i] = make([]float32, len(priors))
	}
	return d
}

// push takes the log posteriors of one frame, of the phones (lp) and of the callout
// that has just ended (call), and returns the phrases that became final with it.
func (d *decoder) push(lp, call []float32) []candidate {
	row := d.take(lp)
	d.calls[d.frame%keepFrames] = append(d.calls[d.frame%keepFrames][:0], call...)
	d.advance(row)
	d.propose(call)
	final := d.endings()
	d.frame++
	return final
}

// take puts the log posteriors of a frame into the rings and returns the log ratios.
func (d *decoder) take(lp []float32) []float32 {
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
	return row
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

// advance passes the tokens of every phrase on by one frame.
func (d *decoder) advance(row []float32) {
	var words, numbers phoneSet // that a phrase may begin with
	if d.frame >= d.blocked {
		words, numbers = begins(row)
	}
	for p, x := range row {
		d.emits[p] = x + float32(tuned.bonus)
	}
	d.emits[silence] = row[silence] - pauseCost
	for k := range d.g.searches {
		s, enter := &d.g.searches[k], words
		if !d.answers && s.answer {
			continue
		}
		if s.number {
			enter = numbers
		}
		if enter &= s.phones; enter != 0 || !d.live[k].empty() {
			d.step(&d.live[k], s, enter)
		}
	}
}

// step is token passing in one search: each token stays in its state or takes the
// way on from it, and of those that meet the best lives on. Only states that a token
// reaches are looked at. New tokens enter with the phones of enter.
func (d *decoder) step(t *tokens, s *search, enter phoneSet) {
	d.jumps = d.jumps[:0]
	d.arrived.begin(s.ways[0], s.ways[1])
	for w := len(t.live) - 1; w >= 0; w-- {
		if t.live[w] != 0 {
			d.leave(t, s, w)
			d.advanceWord(t, s, w)
		}
	}
	for _, p := range d.arrived.list {
		for _, i := range d.g.follows(p.at) {
			d.reach(t, s, i, p.start, p.score)
		}
	}
	for _, p := range d.jumps {
		d.reach(t, s, p.at, p.start, p.score)
	}
	if enter != 0 {
		for _, e := range s.entries {
			if enter.has(e.phone) {
				d.reach(t, s, e.state, int32(d.frame), 0)
			}
		}
	}
}

// leave notes the tokens in the 64 states of word w that go on to others than the next, before the frame
// changes them.
func (d *decoder) leave(t *tokens, s *search, w int) {
	for live := t.live[w] & s.leaves[w]; live != 0; {
		b := bits.Len64(live) - 1
		live &^= 1 << b
		at := int32(w*64 + b)
		switch to := d.g.onward[s.lo+at]; {
		case to >= 0:
			d.jumps = append(d.jumps, path{to, t.start[at], t.score[at]})
		case to != nowhere:
			d.arrived.take(path{to, t.start[at], t.score[at]})
		}
	}
}

// advanceWord has the tokens in these states stay, and go on to the next. They are gone through from the
// last: what a state hands to the next one is what it had before this frame.
func (d *decoder) advanceWord(t *tokens, s *search, w int) {
	first, live, kept := w*64, t.live[w], uint64(0)
	onward := live &^ s.leaves[w]
	phones := d.g.phones[s.lo:s.hi]
	score, start, lost := t.score[:len(phones)], t.start[:len(phones)], tuned.lost
	for live != 0 {
		b := bits.Len64(live) - 1
		bit := uint64(1) << (b & 63)
		live &^= bit
		at := first + b
		was := score[at]
		if onward&bit != 0 {
			x := was + d.emits[phones[at+1]&63]
			if x >= lost && x > score[at+1] {
				score[at+1], start[at+1] = x, start[at]
				if kept |= bit << 1; b == 63 {
					t.live[w+1] |= 1
				}
			}
		}
		if x := was + d.emits[phones[at]&63]; x >= lost {
			score[at] = x
			kept |= bit
		} else {
			score[at] = dead
		}
	}
	t.live[w] = kept
}

// reach scores the frame in a state of the graph that a token reaches, and keeps it if it is not lost.
func (d *decoder) reach(t *tokens, s *search, state, start int32, score float32) {
	if score += d.emits[d.g.phones[state]&63]; score >= tuned.lost {
		t.put(state-s.lo, start, score)
	}
}

// begins are the phones that a phrase may begin with in a frame: those that fit. While
// somebody speaks, any may: a weak first consonant must not keep a phrase out. One that
// begins with a number has dozens of first phones, so there the first phone must fit.
func begins(row []float32) (words, numbers phoneSet) {
	for p, fit := range row {
		if fit > birth {
			numbers |= 1 << p
		}
	}
	if row[silence] < 0 {
		return ^phoneSet(0), numbers
	}
	return numbers, numbers
}

// endings looks for phrases that end at this frame and decides when the best
// one is final: no better one that overlaps came for holdFrames.
func (d *decoder) endings() (final []candidate) {
	for k := range d.live {
		s := &d.g.searches[k]
		d.live[k].among(s.finals, func(p path) {
			if p.score > 0 {
				c := candidate{phrase: int(d.g.states[s.lo+p.at].ends), start: int(p.start), end: d.frame}
				c.score = float64(p.score)
				final = d.ending(c, final)
			}
		})
	}
	if final == nil && d.have && d.frame-d.best.end >= holdFrames && !d.growing() {
		final = d.choose()
		d.have = false
	}
	return final
}

// ending considers a phrase that ends at this frame.
func (d *decoder) ending(c candidate, final []candidate) []candidate {
	if !d.plausible(c) || d.beaten(c) {
		return final
	}
	if d.have && c.start > d.best.end-3 { // what comes after is another callout
		if final == nil {
			final = d.choose()
		}
		d.have = false
	}
	d.consider(c)
	return final
}

// total is the score of a candidate with the second opinion. In running speech the nets are
// silent about what they know, too.
func (d *decoder) total(c candidate) float64 {
	if of, ok := d.inflected(c); ok {
		return c.score - d.left(c, of) + tuned.trust*max(neutral, d.opinion(of).said) - tuned.inflected
	}
	x := c.score + tuned.trust*max(neutral, c.opinion.said)
	if d.g.phrases[c.phrase].Talk() {
		x -= tuned.talk
	}
	return x
}

// plausible reports whether a phrase took long enough and fits well enough to be looked at.
func (d *decoder) plausible(c candidate) bool {
	n, least := float64(c.end-c.start+1), float64(leastFrames)
	if d.g.phrases[c.phrase].Answer {
		least = leastAnswer
	}
	return n >= least && c.score > 0 && c.score/n-tuned.bonus >= tuned.minAverage
}

var _ intents.Recogniser = (*Recogniser)(nil)

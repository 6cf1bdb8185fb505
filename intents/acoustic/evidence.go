package acoustic

import (
	"math"
	"slices"
)

// evidence is what the alignment of a phrase says for and against it.
type evidence struct {
	average   float64 // mean log ratio of the phrase's frames
	worstWord float64 // of its worst word
	worstRun  float64 // of its worst three phones in a row
	squeezed  float64 // share of phones that got one frame
	phones    float64
	words     float64
	before    float64       // silence just before, 0..1
	after     float64       // silence just after, 0..1
	margin    float64       // score over the best other callout, a frame
	pauses    float64       // share of silence inside
	below     float64       // mean log ratio under what the net's own certainty lets expect
	deviation float64       // the same in standard deviations
	worstDev  float64       // of its worst word, in standard deviations
	top       float64       // mean log probability of the best phone
	loop      float64       // mean log ratio to the best path of any phones in any order
	among     float64       // share of frames whose phone is among the net's best three
	pace      float64       // log of frames a phone
	roomTop   float64       // mean log probability of the best phone in the time before: how well this room is heard
	roomQuiet float64       // silence in the time before, 0..1
	poor      float64       // share of phones that fit badly
	number    float64       // 1 if a number was said
	missing   bool          // a long word is hardly there
	usual     bool          // a number that is mostly said, no other fits better, and nor does another callout
	short     bool          // an answer of a sound or two: a lone "no"
	lone      bool          // a word that is a phrase of a site's own vocabulary, with no callout of ours beside it
	sounds    []spokenPhone // one for each phone said
	opinion   opinion
}

// spokenPhone is the evidence of one phone of an alignment.
type spokenPhone struct {
	phone    int
	evidence [soundFeatures]float64
}

// soundFeatures: mean log ratio; the same less the phrase's; what is below the
// net's own certainty, a frame and in deviations; log probability of the best
// phone; log of frames; silence; share among the best three; begins a word;
// at an edge of the phrase.
const soundFeatures = 10

const (
	phoneCount  = 40
	loopCost    = 1.5  // of going on to another phone in any order
	poorFit     = -1.5 // mean log ratio of a phone that hardly fits
	longWord    = 4    // phones of a word that cannot go unheard: a lead word, a drug
	shortPhrase = 6    // phones of a phrase whose every word must be heard
	missingFit  = -2.0 // mean log ratio of a word that was not said
	doubt       = -1.0 // most log odds of a phrase that lacks one
	usualCredit = 1.0  // log odds of a usual number: the judges were fitted on all numbers alike
	usualLead   = 2    // by which its callout must lead the next
	fewSounds   = 2    // sounds of an answer that is shorter than anything the judges were fitted on,
	fewCredit   = 1.8  // and log odds that they are short of with it
	loneCredit  = 2.2  // log odds that a word alone is short of: of 328 by people 200 were heard, 285 with it (wrong 3)
	roomFrames  = 150  // before a phrase that tell of the room
)

// settle returns the words said and the evidence. Where a number was said, a
// usual one is taken unless another fits clearly better: of "fifteen" and
// "fifty", the dose that is given is the likelier.
func (d *decoder) settle(c candidate) ([]string, evidence) {
	any, usual := d.align(d.g, c, d.g.span(c.phrase), nil), alignment{at: -1}
	for _, sp := range d.g.usualSpans(c.phrase) {
		if a := d.align(d.g, c, sp, nil); a.at >= 0 && (usual.at < 0 || a.score > usual.score) {
			usual = a
		}
	}
	if usual.at >= 0 && usual.score+tuned.usual > any.score {
		said, ev := d.measure(c, usual)
		ev.usual = usual.score >= any.score && c.margin*float64(c.end-c.start+1) >= usualLead
		return said, ev
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
			for _, p := range g.joins.list(s.join) {
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
		if g.states[int(sp.lo)+i].final() && (at < 0 || x > score[at]) {
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
	quiet    float64 // sum of the probability of silence
	among    float64 // frames with the phone among the best three
}

func (s seg) frames() float64 { return float64(s.to - s.from) }

func (d *decoder) measure(c candidate, a alignment) ([]string, evidence) {
	return d.weigh(c, a.sp, d.segments(c, a), c.end-c.start+1)
}

// segments are the phones of an alignment in their order.
func (d *decoder) segments(c candidate, a alignment) (segs []seg) {
	sp, at, n, m := a.sp, a.at, c.end-c.start+1, int(a.sp.hi-a.sp.lo)
	for t := n - 1; t >= 0 && at >= 0; t-- {
		if len(segs) == 0 || segs[len(segs)-1].state != int32(at) {
			segs = append(segs, seg{state: int32(at), to: t + 1})
		}
		s := &segs[len(segs)-1]
		s.from = t
		k := (c.start + t) % keepFrames
		x, b := d.llr[k][d.g.states[sp.lo+int32(at)].phone], d.belief[k]
		s.sum, s.quiet = s.sum+float64(x), s.quiet+float64(d.sil[k])
		if d.among(k, x) {
			s.among++
		}
		s.diff, s.variance, s.top = s.diff+float64(x-b.mean), s.variance+float64(b.variance), s.top+float64(b.top)
		at = int(a.back[t*m+at])
	}
	slices.Reverse(segs)
	return segs
}

// among reports whether at most two phones fit frame k of the rings better than x.
func (d *decoder) among(k int, x float32) bool {
	better := 0
	for _, y := range d.llr[k] {
		if y > x {
			better++
		}
	}
	return better < 3
}

// tally sums the evidence of some phones in a row.
type tally struct {
	sum, diff, variance, top, among float64
	frames                          int
}

func (t *tally) add(s seg) {
	t.sum, t.diff, t.variance = t.sum+s.sum, t.diff+s.diff, t.variance+s.variance
	t.top, t.among = t.top+s.top, t.among+s.among
	t.frames += s.to - s.from
}

func (t tally) average() float64   { return t.sum / math.Max(1, float64(t.frames)) }
func (t tally) deviation() float64 { return t.diff / math.Sqrt(t.variance+.1*float64(t.frames)+1) }

// weigh makes the evidence of an alignment.
func (d *decoder) weigh(c candidate, sp span, segs []seg, n int) ([]string, evidence) {
	ev := evidence{margin: math.Min(3, c.margin), opinion: c.opinion}
	said, words, spoken := d.cut(sp, segs)
	var all tally
	for _, word := range words {
		var t tally
		for _, s := range word {
			t.add(s)
			all.add(s)
		}
		ev.missing = ev.missing || t.average() < missingFit && (len(word) >= longWord || len(spoken) <= shortPhrase)
		ev.worstWord, ev.worstDev = math.Min(ev.worstWord, t.average()), math.Min(ev.worstDev, t.deviation())
	}
	ev.phones, ev.words = float64(len(spoken)), float64(len(words))
	for i, s := range spoken {
		var run tally
		for _, s := range spoken[i:min(len(spoken), i+3)] {
			run.add(s)
		}
		if i+3 <= len(spoken) {
			ev.worstRun = math.Min(ev.worstRun, run.average())
		}
		if s.frames() == 1 {
			ev.squeezed += 1 / ev.phones
		}
		if s.sum/s.frames() < poorFit {
			ev.poor += 1 / ev.phones
		}
	}
	ev.short = d.g.phrases[c.phrase].Answer && len(spoken) <= fewSounds
	ev.lone = d.g.lone(c.phrase)
	frames := math.Max(1, float64(all.frames))
	ev.average, ev.below, ev.deviation = all.average(), all.diff/frames, all.deviation()
	ev.top, ev.among = all.top/frames, all.among/frames
	ev.pauses, ev.pace = 1-frames/float64(n), math.Log(frames/math.Max(1, ev.phones))
	ev.before, ev.after = d.hushed(c.start-10, c.start-2), d.hushed(c.end+2, c.end+holdFrames)
	ev.roomTop, ev.roomQuiet = d.clarity(c.start-roomFrames, c.start), d.quiet(c.start-roomFrames, c.start)
	ev.loop = (all.sum - loopCost*(ev.phones-1) - d.loop(c.start, c.end+1)) / frames
	if d.g.phrases[c.phrase].HasSlot() {
		ev.number = 1
	}
	ev.sounds = d.sounds(sp, words, ev.average)
	return said, ev
}

// cut parts the segments of an alignment into words: what was said, the segments
// of each word, and all that are no silence.
func (d *decoder) cut(sp span, segs []seg) (said []string, words [][]seg, spoken []seg) {
	for _, s := range segs {
		st := d.g.states[sp.lo+s.state]
		if st.phone == silence {
			continue
		}
		if st.word >= 0 {
			said, words = append(said, d.g.words[st.word]), append(words, nil)
		}
		words[len(words)-1] = append(words[len(words)-1], s)
		spoken = append(spoken, s)
	}
	return said, words, spoken
}

// sounds makes the evidence of each phone.
func (d *decoder) sounds(sp span, words [][]seg, average float64) (out []spokenPhone) {
	for w, word := range words {
		for i, s := range word {
			n, first, edge := s.frames(), 0., 0.
			if i == 0 {
				first = 1
			}
			if w == 0 && i == 0 || w == len(words)-1 && i == len(word)-1 {
				edge = 1
			}
			phone := int(d.g.states[sp.lo+s.state].phone)
			out = append(out, spokenPhone{phone, [soundFeatures]float64{s.sum / n, s.sum/n - average, s.diff / n,
				s.diff / math.Sqrt(s.variance+.1*n+1), s.top / n, math.Log(n), s.quiet / n, s.among / n, first, edge}})
		}
	}
	return out
}

// loop is the score of the best path of any phones over frames [from, to): what
// the phrase is up against in its own voice, room and noise.
func (d *decoder) loop(from, to int) float64 {
	score, best := make([]float64, phoneCount), 0.
	for t := from; t < to; t++ {
		row, next := d.llr[t%keepFrames], math.Inf(-1)
		for p := range score {
			score[p] = math.Max(score[p], best-loopCost) + float64(row[p])
			next = math.Max(next, score[p])
		}
		if best = next; t == from {
			best += loopCost // the first phone is no change
		}
	}
	return best
}

// clarity is the mean log probability of the best phone over frames [a, b).
func (d *decoder) clarity(a, b int) float64 {
	sum, n := 0., 0.
	for t := max(0, a, d.frame-keepFrames+1); t < min(b, d.frame); t++ {
		sum, n = sum+float64(d.belief[t%keepFrames].top), n+1
	}
	return sum / math.Max(1, n)
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

// list is what the confidence is computed from besides the sounds, in the order
// that calibration.json was fitted with; the second opinion comes last.
func (e evidence) list() []float64 {
	o := e.opinion
	return []float64{e.average, e.worstWord, e.worstRun, e.squeezed, math.Min(e.phones, 25) / 10,
		e.before, e.after, e.before * e.after, e.margin, e.pauses,
		math.Min(0, e.worstWord+1.5), 1 / math.Max(4, e.phones),
		e.below, e.deviation, e.worstDev, e.top, e.below * e.top, math.Min(0, e.worstDev+2),
		math.Min(e.words, 8) / 4, e.loop, e.among, e.pace, e.roomTop, e.roomQuiet, e.poor, e.number,
		o.said, o.other, o.none, o.said - o.other}
}

const (
	features = 30 // of list
	opinions = 4  // of these the second opinion's
)

// atBest is the confidence if the phrase had silence on both sides.
func (e evidence) atBest(m *model) float64 {
	e.before, e.after = 1, 1
	return e.confidence(m)
}

// confidence is the probability that the callout was said: two judges' log odds,
// averaged where the second opinion knows the phrase. One judge alone trusts that
// opinion too much with voices that are new to it.
func (e evidence) confidence(m *model) float64 {
	f := e.list()
	z := m.phones.odds(f[:features-opinions], e.sounds)
	if e.opinion.known {
		z = (z + m.both.odds(f, e.sounds)) / 2
	}
	if e.usual {
		z += usualCredit
	}
	if e.lone {
		z += loneCredit
	} else if e.short {
		z += fewCredit
	}
	if e.missing {
		z = math.Min(z, doubt)
	}
	return 1 / (1 + math.Exp(-z))
}

// lone reports whether a phrase is one word of a site's own vocabulary, with no callout of ours beside it.
func (g *graph) lone(phrase int) bool {
	p := g.phrases[phrase]
	return g.vocabulary.Alone && len(p.Parts) == 1 && !p.HasSlot()
}

// values is the evidence as numbers, for fitting: the list, and for each sound its
// phone and evidence.
func (e evidence) values() ([]float64, [][]float64) {
	var sounds [][]float64
	for _, s := range e.sounds {
		sounds = append(sounds, append([]float64{float64(s.phone)}, s.evidence[:]...))
	}
	return e.list(), sounds
}

package acoustic

import (
	"slices"
	"strings"

	"coxswain/intents"
)

// What stands around a phrase in the same breath decides whether it is a callout: a
// courtesy beside it is as good as silence, a negation, question, condition or order
// forbids it. The words compete in a loop with each other and with anything else that
// can be said (the filler), by token passing over the frames that are kept.
//
//	  ,--> (okay) --.
//	--+--> (not)  --+--> ... up to the phrase, and from its end on
//	  '--> filler --'
const (
	fillCredit    = 0.45 // of a frame that none of the words explains; one that fits well has tuned.bonus
	wordCost      = 1.8  // of each word, so that none is made of two or three stray frames
	forbidCost    = 2.6  // the same of one that forbids: a callout is lost by it
	breathFrames  = 150  // as far as a breath is looked at: 3 s
	longPause     = 25   // frames of silence that part two breaths: 0.5 s
	shortPause    = 15   // and those across which only a condition still counts
	plainBehind   = 0.7  // what a word of the next phrase right behind is worth, where silence or a courtesy is 1
	besideGap     = 8    // frames between a phrase and the word beside it
	waitFrames    = 35   // that a phrase waits at most while its speaker goes on: 0.7 s
	strangeBefore = 0.86 // confidence that a phrase needs after clear words that are not known
	strangeVerb   = 0.9  // and one that begins with a verb: they may be a "don't"
	strangeBehind = 0.8  // and before such words: what forbids mostly comes first
	firstFrames   = 12   // of a breath, in which a word is likelier than later,
	firstCredit   = 1.4  // by so much: questions and openers come first
	behindCost    = 1.4  // more for words that forbid behind a phrase
	roomToGain    = 0.4  // confidence that a phrase may lack before its breath is looked at
	hopeless      = 0.01 // confidence of what no breath can make worth asking about
	fitsWell      = -0.3 // to the best path of any phones: ends all that overlap at once
	withinNear    = 1    // by which a phrase must fit better without a "not" in it, not to be doubtful
	withinSure    = 0.5  // and by which it must fit better with one, to be denied: else it is asked about
	nearForbid    = 2.5  // and better without a word around it that forbids
	nearAlike     = 5    // or with a courtesy that is one sound from such a word: "now" is like "no"
	strangeNot    = 2    // and more where no auxiliary stands before it
	likeA         = 0.6  // and where an "a" stands behind it
	notFrames     = 40   // behind a phrase in which one with a "not" may end
	softStart     = 8    // frames of a breath whose first sound the nets take for silence
)

// aside is a word, or some in a row, that may stand around a callout.
type aside struct {
	span
	text   string
	phones []string // of one word, as it is said first
	reason string   // why it forbids; "": it means nothing; plain: it says nothing about the callout
	cost   float32
	slight bool // a word that running speech makes next to nothing of
	alike  bool // a courtesy that is one sound from a word that forbids
	opens  bool // it means nothing before a phrase, and behind one that it goes on
	behind bool // it counts right behind a phrase alone
}

// addAround adds the words around callouts. They lie behind the phrases' states and
// are not searched all the time: see decoder.around.
func (g *graph) addAround() error {
	words, err := g.vocabulary.Surround()
	if err != nil {
		return err
	}
	if len(words) == 0 {
		return nil
	}
	for _, w := range g.ownWords(words) {
		p := intents.Phrase{Callout: &intents.Callout{}, Parts: []intents.Part{{Word: w}}, Text: w}
		words = append(words, intents.Surrounding{Phrase: p, Reason: plain})
	}
	for _, w := range words {
		a, err := g.aside(w)
		if err != nil {
			return err
		}
		a.alike = g.likeForbidden(w, words)
		if g.asides = append(g.asides, a); a.reason != intents.Told && !a.behind {
			g.before = append(g.before, a)
		}
	}
	return nil
}

// aside makes the states of words that may stand around a callout.
func (g *graph) aside(w intents.Surrounding) (aside, error) {
	sp, err := g.add(w.Phrase, intents.NumberExpr)
	if err != nil {
		return aside{}, err
	}
	last := w.Parts[len(w.Parts)-1].Word
	a := aside{span: sp, text: w.Text, reason: w.Reason, cost: wordCost, behind: w.Behind,
		slight: len(w.Parts) == 1 && weak[w.Text] != "", opens: slices.Contains(g.vocabulary.Around.Opens, last)}
	if a.forbids() {
		a.cost = forbidCost
	}
	if prons, err := g.vocabulary.Pronounce(w.Text); err == nil && len(w.Parts) == 1 {
		a.phones = prons[0]
	}
	return a, nil
}

// plain words compete with the others and say nothing.
const plain = "plain"

// ownWords are the words of the phrases, but for those that are among the others or that
// one of them begins or ends with: "one" keeps "when" from being heard in it, and "for"
// must not hide "before", nor "his" an "is".
func (g *graph) ownWords(others []intents.Surrounding) []string {
	phones := func(w string) string {
		p, _ := g.vocabulary.Pronounce(w)
		return " " + strings.Join(p[0], " ") + " "
	}
	var out []string
	for _, p := range g.phrases {
		for _, part := range p.Parts {
			if part.Word != "" {
				out = append(out, part.Word)
			}
		}
	}
	var forbidden []string
	for _, o := range others {
		if len(o.Parts) == 1 && o.Reason != "" {
			forbidden = append(forbidden, phones(o.Text))
		}
	}
	out = append(out, strings.Fields("one two three four five six seven eight nine ten fifty hundred")...)
	slices.Sort(out)
	is := phones("is")
	return slices.DeleteFunc(slices.Compact(out), func(w string) bool {
		mine := phones(w)
		return len(strings.Fields(mine)) < 3 || slices.ContainsFunc(forbidden, func(theirs string) bool {
			his := theirs == is && strings.HasSuffix(mine, theirs)
			return his || strings.HasPrefix(theirs, mine) || strings.HasSuffix(theirs, mine)
		})
	})
}

// found is an aside that was heard.
type found struct {
	aside
	from, to int // frames, to exclusive
	before   int // index of the one before it, -1: none
}

// forbids reports whether no callout may stand in the same breath.
func (a aside) forbids() bool { return forbids(a.reason) }

func forbids(reason string) bool { return reason != "" && reason != plain && reason != intents.Told }

// token is a path through the loop.
type token struct {
	score  float32
	last   int // index of the last word found
	begins int // frame that its word began with
}

// loop is token passing through the asides, from frame from on.
type loop struct {
	from int
	at   []token // by frame since from: the best token when it begins
	live []token // by state of the asides, when it ends
	list []found
}

// around passes tokens through the asides over frames [from, to), which lie before or
// behind a phrase.
func (d *decoder) around(from, to int, behind bool) loop {
	return d.through(d.g.about(behind), from, to, behind, nil)
}

// through is around with some of the asides. Given a loop of the same frames, its paths are
// those that leave that loop for a word that forbids.
func (d *decoder) through(list []aside, from, to int, behind bool, leaves *loop) loop {
	out := loop{from: from, at: []token{{last: -1}}}
	if leaves != nil {
		out.at[0].score = dead
	}
	lo, hi := d.g.asides[0].lo, d.g.asides[len(d.g.asides)-1].hi
	old, now := make([]token, hi-lo), make([]token, hi-lo)
	for i := range old {
		old[i].score = dead
	}
	for t := from; t < to; t++ {
		row, here := d.llr[t%keepFrames], out.at[t-from]
		next, by, ends := here, aside{}, false
		next.score += fillCredit
		for _, a := range list {
			enters := d.enter(a, here, t, behind, t < from+firstFrames)
			if leaves != nil && a.forbids() && leaves.at[t-from].score > here.score {
				enters = d.enter(a, token{score: leaves.at[t-from].score, last: -1}, t, behind, t < from+firstFrames)
			}
			for i := a.lo; i < a.hi; i++ {
				x := d.g.pass(i, lo, old, enters)
				x.score += d.emission(i, row)
				now[i-lo] = x
				if d.g.states[i].final() && x.score > next.score {
					next, by, ends = x, a, true
				}
			}
		}
		if ends {
			out.list = append(out.list, found{by, next.begins, t + 1, next.last})
			next.last = len(out.list) - 1
		}
		out.at = append(out.at, next)
		old, now = now, old
	}
	out.live = old
	return out
}

// enter is the token with which a word begins at frame t, from the best path up to there.
func (d *decoder) enter(a aside, here token, t int, behind, first bool) token {
	x := token{here.score - a.cost, here.last, t}
	switch {
	case behind && a.forbids() && !a.behind:
		x.score -= behindCost
	case !behind && first:
		x.score += firstCredit
	}
	return x
}

// doubt is by how much the best path up to a frame with a word that forbids falls behind the
// best without one. Words of a sound or two in running speech ("is") are heard anywhere.
func (d *decoder) doubt(l loop, list []aside, frame int) (float64, []found) {
	full := slices.DeleteFunc(slices.Clone(list), func(a aside) bool { return a.slight })
	forbidden := d.through(full, l.from, frame, false, &l)
	return float64(l.at[frame-l.from].score - forbidden.at[frame-l.from].score), forbidden.until(frame)
}

// until returns the asides of the best path up to a frame, in their order.
func (l loop) until(frame int) (out []found) {
	for k := l.at[frame-l.from].last; k >= 0; k = l.list[k].before {
		out = append(out, l.list[k])
	}
	slices.Reverse(out)
	return out
}

// pass is the best token that reaches a state: its own, one from before it, or a new one.
func (g *graph) pass(i, lo int32, old []token, enters token) token {
	s := &g.states[i]
	x := old[i-lo]
	for _, p := range g.joins.list(s.join) {
		if old[p-lo].score > x.score {
			x = old[p-lo]
		}
	}
	if s.entry && enters.score > x.score {
		x = enters
	}
	return x
}

// emission is what a frame adds to the score of a token in a state.
func (d *decoder) emission(i int32, row []float32) float32 {
	if p := d.g.states[i].phone; p != silence {
		return row[p] + float32(tuned.bonus)
	}
	return row[silence] - pauseCost
}

// breath is what was heard around a phrase.
type breath struct {
	forbidden string  // why it is no callout
	doubtful  bool    // a word that forbids is nearly as likely as none
	left      float64 // how surely a word that is known stands right before it
	right     float64 // and right behind it
	repairs   bool    // right before it stand words that take back what was called before,
	otherwise bool    // but for which it would be as doubtful
	courteous int     // frame that the courtesies right behind it end with; 0: there are none
	when      string  // the time that was told behind it; "": none was
	whenFrom  int     // frame that it begins with
}

// listenBefore looks at what was said before a phrase in the same breath, from frame
// least on. Words and phrase are searched together: where the phrase begins is moved to
// where the path through both is best, if a courtesy or a word that forbids ends there.
func (d *decoder) listenBefore(c candidate, least int) (candidate, breath) {
	var out breath
	if len(d.g.asides) == 0 {
		return c, out
	}
	from := d.pauseBefore(c.start, max(0, least, c.start-breathFrames, d.frame-keepFrames+1))
	from = min(from, c.start)
	list := d.g.leading(c.phrase)
	l := d.through(list, from, c.start+(c.end-c.start)/2, false, nil)
	enter := make([]float32, 0, c.end-c.start)
	for t, x := range l.at[c.start-from:] {
		score := dead
		if t == 0 || x.last >= 0 && l.list[x.last].reason != plain && c.start+t-l.list[x.last].to <= besideGap/2 {
			score = x.score - l.at[c.start-from].score
		}
		enter = append(enter, score)
	}
	c.start += d.begins(c, enter)
	words := l.until(c.start)
	out.forbidden, out.doubtful = d.forbiddenBefore(words, c, c.start)
	out.repairs, out.otherwise = d.repairs(words, c.start), out.doubtful
	out.settle()
	if out.forbidden == "" && !out.doubtful {
		less, others := d.doubt(l, list, c.start)
		out.doubtful = d.doubted(words, others, c, less)
	}
	if n := len(words); n > 0 && c.start-words[n-1].to <= besideGap && words[n-1].reason == "" {
		out.left = 1
	}
	return c, out
}

// begins is the frame of a phrase, since its start, that it is best entered with.
func (d *decoder) begins(c candidate, enter []float32) int {
	a := d.align(d.g, c, d.g.span(c.phrase), enter)
	n, m := c.end-c.start+1, int(a.sp.hi-a.sp.lo)
	for t, at := n-1, a.at; t >= 0 && at >= 0; t-- {
		if at = int(a.back[t*m+at]); at < 0 {
			return t
		}
	}
	return 0
}

// listenBehind looks at what was said behind a phrase in the same breath, so far.
func (d *decoder) listenBehind(c candidate, b breath) breath {
	if len(d.g.asides) > 0 && d.frame-c.end > 4 {
		words := d.around(c.end, d.frame, true).until(d.frame)
		reason, doubtful := d.forbiddenBehind(words, c)
		if reason != "" {
			b.forbidden = reason
		}
		b.doubtful = b.doubtful || doubtful
		if len(words) > 0 && words[0].from-c.end <= besideGap {
			b.right = d.stands(words[0])
		}
		b.courteous = d.courteousUntil(words, c)
		b.settle()
		if b.when, b.whenFrom = d.told(c, words); intents.Ahead(b.when) {
			b.forbidden = "condition"
		}
	}
	if b.forbidden == "" {
		gain := d.denied(c)
		b.doubtful = b.doubtful || gain > -withinNear*d.sharp(c)
		if gain > withinSure {
			b.forbidden = "negation"
		}
	}
	return b
}

// pauseBefore is the frame that the breath of frame t begins with, not before least.
func (d *decoder) pauseBefore(t, least int) int {
	quiet := 0
	for k := t - 1; k >= least; k-- {
		if quiet++; !d.silent(k) {
			quiet = 0
		}
		if quiet >= longPause {
			return k + longPause - softStart
		}
	}
	return least
}

// paused reports whether n frames in a row of [from, to) are silent.
func (d *decoder) paused(from, to, n int) bool {
	quiet := 0
	for k := from; k < to; k++ {
		if quiet++; !d.silent(k) {
			quiet = 0
		}
		if quiet >= n {
			return true
		}
	}
	return false
}

// speaking reports whether somebody clearly goes on: noise and people in the
// background leave the nets unsure.
func (d *decoder) speaking() bool {
	return d.clearly(d.frame-6, d.frame)
}

// clearly reports whether frames [from, to) are speech of which the nets are sure.
func (d *decoder) clearly(from, to int) bool {
	return d.clarity(from, to) > -1.2 && d.quiet(from, to) < 0.3 && !d.soft(from, max(to, from+softLeast))
}

// goesBefore reports whether somebody speaks clearly right before frame from, but for what runs into it.
func (d *decoder) goesBefore(from int) bool { return d.clearly(from-12, from-2) }

// goesBehind is the same right behind frame to.
func (d *decoder) goesBehind(to int) bool { return d.clearly(to+2, to+12) }

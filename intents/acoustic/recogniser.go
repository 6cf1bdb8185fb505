package acoustic

import (
	"math"
	"slices"
	"strings"

	"coxswain/intents"
)

// Recogniser hears one stream. It implements intents.Recogniser.
type Recogniser struct {
	v       *intents.Vocabulary
	mel     *logMel
	nets    *ensemble
	dec     *decoder
	heard   int64
	skip    int // outputs of the net that tell of time before the stream
	results []intents.Result
	waiting []proposal // phrases whose breath is not over
	last    int        // frame that the last callout ended with
	open    bool       // the listener decides
	ended   int        // and that the last phrase did that was judged
	before  candidate  // the last that may have been called
	model   *model
	trace   Trace
}

// New returns a recogniser for the vocabulary.
func New(v *intents.Vocabulary) (intents.Recogniser, error) { return NewTraced(v, nil) }

// Trace is called with every candidate that was looked at, features of the whole
// and, for each sound, its phone and features: see evidence.
type Trace func(r intents.Result, features []float64, sounds [][]float64)

// NewTraced is New with a Trace, for measuring and for fitting the confidence.
func NewTraced(v *intents.Vocabulary, trace Trace) (intents.Recogniser, error) {
	m, err := shared()
	if err != nil {
		return nil, err
	}
	g, err := newGraph(v, m.taught)
	if err != nil {
		return nil, err
	}
	return listenFor(g, m, trace), nil
}

// listenFor returns a recogniser of a new stream for the phrases of a graph.
func listenFor(g *graph, m *model, trace Trace) *Recogniser {
	nets := newEnsemble(m.nets)
	return &Recogniser{v: g.vocabulary, model: m, mel: newLogMel(nets.warps()...), nets: nets,
		dec: newDecoder(g, m.nets[0].priors), skip: lookahead, trace: trace}
}

// Hear implements intents.Recogniser. A window of the front end ends with every
// piece that is pushed, so that Decided is the sample that completed it,
// however the samples are cut into calls.
func (r *Recogniser) Hear(pcm []int16) ([]intents.Result, error) {
	r.results = nil
	for len(pcm) > 0 {
		n := min(len(pcm), hop-int((r.heard+hop-window%hop)%hop))
		r.dec.listenTo(r.heard, pcm[:n])
		r.heard += int64(n)
		r.mel.push(pcm[:n], r.frame)
		pcm = pcm[n:]
	}
	return r.results, nil
}

func (r *Recogniser) frame(mels [][]float32) {
	if !r.nets.push(mels) {
		return
	}
	for i := range batch {
		if r.skip > 0 {
			r.skip--
			continue
		}
		r.output(r.nets.output(i))
	}
}

// output takes an output of the nets.
func (r *Recogniser) output(phone, call []float32) {
	for _, c := range r.dec.push(phone, call) {
		r.propose(c)
	}
	for len(r.waiting) > 0 && r.due(&r.waiting[0]) {
		r.judge(r.waiting[0])
		r.waiting = r.waiting[1:]
	}
}

// proposal is a phrase that has ended, as it was understood.
type proposal struct {
	candidate
	result intents.Result
	evidence
	breath
	strong   bool // it keeps what overlaps with it from being heard
	patience int  // frames that it waits while its speaker goes on
}

// LeaveOpen implements intents.Candid: from now on all that may have been said is
// returned, for the listener to decide.
func (r *Recogniser) LeaveOpen() { r.open, r.dec.answers = true, true }

// openFloor is the confidence that an open result needs.
const openFloor = 0.2

// propose looks closely at a phrase that has ended. If it may have been said, it waits
// until its breath is over, or long enough.
func (r *Recogniser) propose(c candidate) {
	p := r.dec.g.phrases[c.phrase]
	least := p.Callout.Need() // to be worth a closer look
	if r.open {
		least = openFloor
	}
	w, ok := r.understood(c, breath{})
	if x, ok := r.instead(w); ok {
		r.propose(x)
		return
	}
	if r.trace != nil || !p.Talk() && w.evidence.atBest(r.model) >= max(least-roomToGain, hopeless) {
		w, ok = r.understood(r.dec.listenBefore(c, r.last+1))
	}
	sure := w.evidence.atBest(r.model)
	w.strong = w.holds(sure, r.model) && !r.dec.g.amount(c.phrase)
	switch {
	case !ok: // a number out of its bounds: nobody said that
	case p.Talk() && w.strong:
		r.dec.clear(c)
	case !p.Talk() && (sure >= least || r.trace != nil):
		r.hold(w)
	}
}

// instead is what a phrase is to be taken for that can hardly have been said: what it is without its
// number, or what was nearly chosen in its place.
func (r *Recogniser) instead(w proposal) (candidate, bool) {
	c := w.candidate
	lost := w.evidence.atBest(r.model) < w.result.Need-roomToGain
	switch {
	case c.bare != nil && (lost || r.dec.courteous(c)): // no number was said
		return r.dec.trimmed(*c.bare), true
	case c.next != nil && lost:
		return *c.next, true
	}
	return c, false
}

// cut reports whether a phrase ends with what is hardly its number, behind what is a callout without it:
// "amiodarone given, one shock so far", "amiodarone is in and", which is like "a hundred".
func (r *Recogniser) cut(w proposal) bool {
	p, bare := r.dec.g.phrases[w.phrase], r.dec.g.phrases[w.bare.phrase]
	n := len(p.Parts) - 1
	least := cutBelow
	if unusual(p.Callout, w.result.Values) == digitNeed {
		least = digitNeed
	}
	return p.Parts[n].Slot != "" && slices.Equal(p.Parts[:n], bare.Parts) && w.confidence(r.model) < least
}

// understood is a phrase as it was understood; ok is false if its number cannot be.
func (r *Recogniser) understood(c candidate, b breath) (w proposal, ok bool) {
	p := r.dec.g.phrases[c.phrase]
	said, ev := r.dec.settle(c)
	values, err := r.v.Values(p, said)
	w = proposal{candidate: c, evidence: ev, breath: b, patience: waitFrames}
	w.result = intents.Result{Callout: p.Callout.ID, Text: strings.Join(said, " "), Values: values, Need: p.Callout.Need(),
		Answer: p.Answer, Start: at(c.start), End: at(c.end + 1)}
	return w, err == nil
}

// holds reports whether a phrase keeps what overlaps with it from being heard; sure is its
// confidence with silence around it.
func (w proposal) holds(sure float64, m *model) bool {
	called := w.result.Callout != "" && sure >= w.result.Need && w.evidence.loop > fitsWell
	return called || w.evidence.confidence(m) >= w.result.Need
}

// hold lets a phrase wait. Of two that overlap, the one that explains more of the sound
// waits on: "okay, resume" has the sound of "procainamide is in" until it goes on.
func (r *Recogniser) hold(w proposal) {
	if w.strong {
		r.waiting = slices.DeleteFunc(r.waiting, func(x proposal) bool {
			return x.candidate.overlaps(w.candidate) && (!x.strong || x.score < w.score)
		})
		r.dec.held = append(r.dec.held, w.candidate)
	}
	r.waiting = append(r.waiting, w)
	if w.evidence.atBest(r.model) >= nearlySure {
		r.dec.keep(w.candidate)
	}
}

// due reports whether a phrase can be judged: its speaker has paused, or goes on for long,
// and neither with a phrase that explains more of the same sound nor with the time of it.
func (r *Recogniser) due(w *proposal) bool {
	c, late := w.candidate, r.dec.frame-w.end
	speaking := r.dec.speaking()
	switch {
	case len(r.dec.g.asides) == 0 || late > 2*waitFrames:
		return true
	case speaking && (late <= w.patience || r.dec.outgrown(c)):
		return false
	case r.dec.numbered(c), r.dec.mayGoOn(c), r.contradicting(c), r.dec.unfinished(c):
		return false
	case !speaking:
		return true
	}
	if r.dec.telling(c) { // asked last: it costs a search of its own
		w.patience = late + morePatience
		return false
	}
	return true
}

// judge decides whether a phrase was said as a callout.
func (r *Recogniser) judge(w proposal) {
	if w.strong {
		r.dec.clear(w.candidate)
	}
	w, b, ok := r.inBreath(w)
	if !ok {
		return
	}
	if gap := w.start - r.ended; r.ended > 0 && gap > -besideGap && gap <= 2*besideGap { // two in one breath
		b.left = 1
	}
	w.before, w.after = max(w.before, b.left), max(w.after, b.right)
	out := r.weighed(w, b)
	accepted := out.Confidence >= out.Need && out.Forbidden == ""
	if accepted {
		r.last = w.end
	}
	if out.Confidence >= nearlySure {
		if r.ended = w.end; out.Forbidden == "" {
			r.before = w.candidate
		}
	}
	switch {
	case r.open && out.Confidence >= openFloor:
		out.Open, out.Rivals = true, append(r.rivals(w.candidate), r.numberRival(w, out)...)
		r.results = append(r.results, out)
	case accepted && !r.open:
		out.Need = 0
		r.results = append(r.results, out)
	}
}

// inBreath is a phrase as it stands with what was said behind it; ok is false if it has been called.
func (r *Recogniser) inBreath(w proposal) (_ proposal, b breath, ok bool) {
	b = r.dec.listenBehind(w.candidate, r.anew(w))
	if x, bare := r.withoutNumber(w); bare {
		return x, x.breath, x.start >= r.last
	}
	return w, b, true
}

// weighed is the result of a phrase with its confidence, what it needs in the sentence
// around it, and what forbids it.
func (r *Recogniser) weighed(w proposal, b breath) intents.Result {
	out := w.result
	out.Confidence, out.Decided = math.Round(w.confidence(r.model)*1000)/1000, r.heard
	if r.trace != nil {
		features, sounds := w.values()
		r.trace(out, features, sounds)
	}
	callout := r.dec.g.phrases[w.phrase].Callout
	out.Need = max(out.Need, r.dec.strange(w.candidate, b), unusual(callout, out.Values))
	out.Forbidden, out.When = b.forbidden, b.when
	taken := out.Confidence >= out.Need && out.Forbidden == ""
	if b.doubtful || r.contradicted(w) || taken && r.dec.slipped(w.candidate, strings.Fields(out.Text)) {
		out.Need = 1 // to be asked about
	}
	if (callout.Alone || r.dec.g.amount(w.phrase)) && b.forbidden == "" && !r.dec.alone(w.candidate, b) {
		out.Forbidden = "sentence"
	}
	return out
}

// withoutNumber is a phrase without the number that it was found with, if that is none, or part of a
// time: of "shock delivered two minutes ago" nobody delivered two joules.
func (r *Recogniser) withoutNumber(w proposal) (bare proposal, ok bool) {
	if w.candidate.bare == nil {
		return w, false
	}
	c := *w.candidate.bare
	c.start = max(c.start, w.start)
	if c.end-c.start < leastFrames {
		return w, false
	}
	b := r.dec.listenBehind(c, w.breath)
	if !r.cut(w) && (b.when == "" || b.whenFrom > c.end+2*besideGap) {
		return w, false
	}
	bare, ok = r.understood(c, b)
	return bare, ok
}

// rivalScale is the score by which a rival must lose to count e times less.
const rivalScale = 3

// rivals are what else the sound of a phrase may have been. The judge hears each phrase
// for itself; how far the rival fell behind in the search stands beside it.
func (r *Recogniser) rivals(c candidate) []intents.Rival {
	if c.rival == nil {
		return nil
	}
	p := r.dec.g.phrases[c.rival.phrase]
	said, ev := r.dec.settle(*c.rival)
	values, err := r.v.Values(p, said)
	behind := c.margin * float64(c.end-c.start+1)
	// The nets' second opinion speaks for what it was taught alone, and of two that exclude each
	// other it has learned which is said more: "can" and "can't" may be one sound.
	if !c.rival.opinion.known || r.dec.excludes(c.phrase, c.rival.phrase) {
		behind = max(0, c.score-c.rival.score)
	}
	if sure := ev.atBest(r.model) * math.Exp(-behind/rivalScale); err == nil && !p.Talk() && sure >= openFloor {
		return []intents.Rival{{Callout: p.Callout.ID, Text: strings.Join(said, " "), Values: values,
			Confidence: math.Round(sure*1000) / 1000}}
	}
	return nil
}

// at is the sample that a frame begins with: see net.Tcn in intents/train.
func at(frame int) int64 { return max(0, int64(frame)*frameHop+frameHop/2) }

// Close implements intents.Recogniser: half a second of silence lets a phrase
// at the very end become final.
func (r *Recogniser) Close() ([]intents.Result, error) {
	heard := r.heard
	out, err := r.Hear(make([]int16, intents.Rate/2))
	for i := range out {
		out[i].Decided, out[i].End = heard, min(out[i].End, heard)
	}
	return out, err
}

package acoustic

import (
	"math"
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
	// Trace, if set, is called with every candidate that was looked at.
	Trace func(r intents.Result, features []float64)
}

// Default is the confidence that a callout needs if its vocabulary entry says
// nothing.
const Default = 0.6

// New returns a recogniser for the vocabulary.
func New(v *intents.Vocabulary) (intents.Recogniser, error) { return NewTraced(v, nil) }

// NewTraced is New with a Trace function, for measuring.
func NewTraced(v *intents.Vocabulary, trace func(intents.Result, []float64)) (intents.Recogniser, error) {
	w, err := shared()
	if err != nil {
		return nil, err
	}
	g, err := newGraph(v)
	if err != nil {
		return nil, err
	}
	nets := newEnsemble(w)
	return &Recogniser{v: v, mel: newLogMel(nets.warps()...), nets: nets, dec: newDecoder(g, w[0].priors), skip: lookahead, Trace: trace}, nil
}

// Hear implements intents.Recogniser. A window of the front end ends with every
// piece that is pushed, so that Decided is the sample that completed it,
// however the samples are cut into calls.
func (r *Recogniser) Hear(pcm []int16) ([]intents.Result, error) {
	r.results = nil
	for len(pcm) > 0 {
		n := min(len(pcm), hop-int((r.heard+hop-window%hop)%hop))
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
	if r.skip > 0 {
		r.skip--
		return
	}
	if c, ok := r.dec.push(r.nets.phone, r.nets.call); ok {
		r.judge(c)
	}
}

// judge decides whether a phrase that has ended was said.
func (r *Recogniser) judge(c candidate) {
	said, ev := r.dec.settle(c)
	p := r.dec.g.phrases[c.phrase]
	values, err := r.v.Values(p, said)
	if err != nil {
		return // a number out of its bounds: nobody said that
	}
	res := intents.Result{Callout: p.Callout.ID, Text: strings.Join(said, " "), Values: values, Confidence: math.Round(ev.confidence()*1000) / 1000,
		Start: at(c.start), End: at(c.end + 1), Decided: r.heard}
	if r.Trace != nil && !p.Talk() {
		r.Trace(res, ev.features())
	}
	need := p.Callout.Confidence
	if need == 0 {
		need = Default
	}
	if res.Confidence < need {
		return
	}
	r.dec.clear(c)
	if !p.Talk() {
		r.results = append(r.results, res)
	}
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

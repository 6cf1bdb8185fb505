package acoustic

import (
	"fmt"
	"math"
	"strings"
	"time"

	"coxswain/intents"
)

// How a voice is learned: a few steps from nothing, so that it stays near (early stopping). They
// were chosen on people left out of the training: see intents/train/README.md.
const (
	learnSteps  = 15
	learnHidden = .001 // of Adam, for the first layer
	learnPhones = .005 // and for the phones
	leastRead   = 8    // phrases
	quietShare  = .3   // weight of a frame of silence
	badFit      = -2.6 // mean log posterior of a sound that is not what it should be
	quietBefore = 15   // frames before and after a phrase that are learned from as silence
	quietAfter  = 20
	mostLearned = 10 * 60 * intents.Rate // samples of a reading
)

// label is the phone that a frame of the nets should have.
type label struct {
	row, phone int
	weight     float32
}

// LearnVoice fits a profile to phrases that were read: pcm is the reading (16 kHz), read what
// was understood of it, with callout, words and time in samples. The phones of each phrase are
// aligned with its sound, and the nets' posteriors of them raised by steps of Adam (Kingma and
// Ba 2015) through the nets. progress is called with the share that is done.
func LearnVoice(v *intents.Vocabulary, pcm []int16, read []intents.Result, progress func(float64)) (*Voice, error) {
	m, err := shared()
	if err != nil {
		return nil, err
	}
	nets, err := fingerprint()
	if err != nil {
		return nil, err
	}
	if len(pcm) > mostLearned {
		return nil, fmt.Errorf("no voice profile: a reading of more than %d minutes", mostLearned/intents.Rate/60)
	}
	passes := listenAll(m, pcm)
	labels, phrases, err := labelled(v, m, passes, read)
	if err != nil {
		return nil, err
	}
	if phrases < leastRead {
		return nil, fmt.Errorf("no voice profile: only %d phrases were understood, of %d that it takes", phrases, leastRead)
	}
	for step := range learnSteps {
		learn(passes, labels, step)
		progress(float64(step+1) / learnSteps)
	}
	out := &Voice{Format: voiceFormat, Made: time.Now().Format(time.DateOnly), Nets: nets, Phrases: phrases}
	for _, p := range passes {
		out.Hidden = append(out.Hidden, units(p.hidden.x, mostHidden))
		out.Phones = append(out.Phones, units(p.phones.x, mostPhones))
	}
	return out, nil
}

// units are numbers as a profile holds them.
func units(x []float32, most int) []int {
	out := make([]int, len(x))
	for i, v := range x {
		out[i] = min(most, max(-most, int(math.Round(float64(v)/voiceUnit))))
	}
	return out
}

// listenAll makes of a reading what each net hears, and hears it.
func listenAll(m *model, pcm []int16) []*pass {
	e := newEnsemble(m.nets)
	heard := make([][]float32, len(m.nets))
	newLogMel(e.warps()...).push(pcm, func(mels [][]float32) {
		for k := range heard {
			heard[k] = append(heard[k], e.ear(k, mels[k])...)
		}
	})
	var out []*pass
	for k, w := range m.nets {
		out = append(out, newPass(w, heard[k]))
	}
	for _, p := range out {
		p.forward()
	}
	return out
}

// together are the nets' averaged log posteriors of a row.
func together(passes []*pass, row int) []float32 {
	out := make([]float32, passes[0].w.phoneNum)
	for _, p := range passes {
		for i, x := range p.posteriors(row) {
			out[i] += x / float32(len(passes))
		}
	}
	normalise(out)
	return out
}

// labelled aligns each phrase with its sound. A sound that fits badly teaches nothing.
func labelled(
	v *intents.Vocabulary, m *model, passes []*pass, read []intents.Result,
) (out []label, phrases int, err error) {
	g := &graph{vocabulary: v}
	d := newDecoder(g, m.nets[0].priors)
	for _, r := range read {
		c := candidate{start: max(0, int(r.Start-frameHop/2)/frameHop), end: int(r.End-frameHop/2)/frameHop - 1}
		if r.Text == "" || c.end-c.start < leastFrames || c.end-c.start >= keepFrames || c.end+lookahead >= passes[0].rows {
			continue
		}
		for d.frame = c.start; d.frame <= c.end; d.frame++ {
			d.take(together(passes, d.frame+lookahead))
		}
		sp, err := g.addExpr(wordsOf(r.Text), false)
		if err != nil {
			return nil, 0, err
		}
		a := d.align(g, c, sp, nil)
		if a.at < 0 {
			continue
		}
		phrases++
		for _, s := range d.segments(c, a) {
			out = append(out, labelSound(passes, c.start+lookahead, s, int(g.states[sp.lo+s.state].phone))...)
		}
		out = append(out, quietAround(passes, c)...)
	}
	return out, phrases, nil
}

// wordsOf is the grammar of some words in a row.
func wordsOf(text string) intents.Expr {
	e := intents.Expr{Op: intents.Seq}
	for _, w := range strings.Fields(text) {
		e.Kids = append(e.Kids, intents.Expr{Op: intents.Word, Text: w})
	}
	return e
}

// labelSound labels the rows of a sound of a phrase whose first row is first.
func labelSound(passes []*pass, first int, s seg, phone int) (out []label) {
	weight, fit := float32(1), float32(0)
	if phone == silence {
		weight = quietShare
	}
	for row := first + s.from; row < first+s.to; row++ {
		fit += together(passes, row)[phone]
		out = append(out, label{row, phone, weight})
	}
	if fit < badFit*float32(len(out)) {
		return nil
	}
	return out
}

// quietAround labels what is silence before and after a phrase.
func quietAround(passes []*pass, c candidate) (out []label) {
	for f := c.start - quietBefore; f <= c.end+quietAfter; f++ {
		row := f + lookahead
		if f >= c.start && f <= c.end || row < 0 || row >= passes[0].rows {
			continue
		}
		if together(passes, row)[silence] > badFit {
			out = append(out, label{row, silence, quietShare})
		}
	}
	return out
}

// learn takes a step down the cross entropy of the labels, half of the nets' average and
// half of each net.
func learn(passes []*pass, labels []label, step int) {
	var all float32
	for _, l := range labels {
		all += l.weight
	}
	slopes := make([][]float32, len(passes))
	for k, p := range passes {
		slopes[k] = make([]float32, p.rows*p.w.phoneNum)
	}
	for _, l := range labels {
		mean, share := together(passes, l.row), l.weight/(2*float32(len(passes))*all)
		for k, p := range passes {
			to, own := slopes[k][l.row*p.w.phoneNum:], p.posteriors(l.row)
			for i := range mean {
				to[i] += share * float32(math.Exp(float64(mean[i]))+math.Exp(float64(own[i])))
			}
			to[l.phone] -= 2 * share
		}
	}
	for k, p := range passes {
		p.backward(slopes[k])
		p.hidden.step(learnHidden, step)
		p.phones.step(learnPhones, step)
		p.forward()
	}
}

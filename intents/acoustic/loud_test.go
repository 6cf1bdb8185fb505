package acoustic

import "testing"

// Somebody who talks on without a pause 30 dB below a callout, at the next bed, takes nothing of it
// and adds nothing to it; what is as loud as it is the same breath.
func TestSoftTalkBeside(t *testing.T) {
	talk := speakAs(t, "awb", "no who did that do we have any news from the family is it true that "+
		"they have not been told so far and when was he seen last if at all")
	call := append(make([]int16, 24000), speakAs(t, "slt", "rhythm is v fib.")...)
	mixed := func(gain float64) []int16 {
		pcm := make([]int16, min(len(talk), len(call)+16000))
		for i := range pcm {
			pcm[i] = int16(float64(talk[i]) * gain)
			if i < len(call) {
				pcm[i] += call[i] / 2
			}
		}
		return pcm
	}
	if got := hear(t, nil, mixed(0.015), 1600); len(got) != 1 || got[0].Callout != "rhythm.vf" {
		t.Errorf("beside soft talk: %+v", got)
	}
	if got := hear(t, nil, mixed(0.4), 1600); len(got) != 0 {
		t.Errorf("in the middle of a sentence as loud: %+v", got)
	}
}

// What is soft is told from the samples alone, in whatever pieces they come.
func TestSoft(t *testing.T) {
	g, m := made(t)
	for _, piece := range []int{1, 77, 160, 5000} {
		d := newDecoder(g, m.nets[0].priors)
		pcm := make([]int16, 200*frameHop)
		for i := range pcm {
			pcm[i] = 100 // 20 dB below
			if i >= 100*frameHop && i < 130*frameHop {
				pcm[i] = 1000
			}
		}
		for at := 0; at < len(pcm); at += piece {
			d.listenTo(int64(at), pcm[at:min(len(pcm), at+piece)])
		}
		d.frame = 190
		if !d.soft(60, 80) || d.soft(100, 120) || d.soft(95, 105) {
			t.Errorf("in pieces of %d: soft %v, as loud %v, both %v", piece, d.soft(60, 80), d.soft(100, 120), d.soft(95, 105))
		}
	}
}

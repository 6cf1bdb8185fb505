package acoustic

import "math"

// opinion is what the nets, which know today's callouts as wholes, think of a
// candidate: log probabilities, not below faint.
type opinion struct {
	known bool    // the nets were taught this phrase
	said  float64 // that its callout has just ended
	other float64 // that another has
	none  float64 // that none has
}

const (
	faint       = -8
	neutral     = -3 // of a phrase that the nets were not taught
	judgeFrames = 12 // frames after a phrase in which the nets speak of it
)

// opinion asks about a candidate.
func (d *decoder) opinion(c candidate) opinion {
	class, talk := d.g.class[c.phrase], d.g.phrases[c.phrase].Talk()
	if class == 0 && !talk {
		return opinion{said: neutral, other: neutral, none: neutral}
	}
	o := opinion{known: true, said: faint, other: faint}
	for t := c.end + 1; t <= min(c.end+judgeFrames, d.frame); t++ {
		for k, x := range d.calls[t%keepFrames] {
			switch v := math.Max(faint, float64(x)); k {
			case 0:
				o.none = math.Min(o.none, v)
			case class:
				o.said = math.Max(o.said, v)
			default:
				o.other = math.Max(o.other, v)
			}
		}
	}
	if talk { // what speaks for it is that no callout has ended; that one has is weak against words that fit
		return opinion{said: math.Max(neutral, o.none)}
	}
	return o
}

package acoustic

import (
	"math"
	"testing"
)

// Of two phrases neither leads by much where the nets are sure of no sound: what must lead by 8 in
// a quiet room must lead by less in a loud one, and never by more.
func TestSharp(t *testing.T) {
	g, m := made(t)
	for _, c := range []struct{ top, want float64 }{{-0.05, 1}, {clearTop, 1}, {clearTop - math.Ln2, 0.5}, {clearTop - 2*math.Ln2, 0.25}} {
		d := newDecoder(g, m.nets[0].priors)
		d.frame = 50
		for k := range d.belief {
			d.belief[k].top = float32(c.top)
		}
		if got := d.sharp(candidate{start: 10, end: 40}); math.Abs(got-c.want) > 1e-6 {
			t.Errorf("best phone at %v: %v, want %v", c.top, got, c.want)
		}
	}
}

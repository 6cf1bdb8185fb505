package acoustic

import (
	"strings"
	"testing"
)

// A callout in an ordinary sentence must not be lost to talk of which a sound was not said, to half
// a word that forbids ("every" of "everyone"), or to what was judged to be nothing right before it;
// what has the words of a callout but for a little one is not taken. All in a voice never trained on.
func TestOrdinarySentences(t *testing.T) {
	for _, c := range [][2]string{
		{"the tube is in now", "airway.secured"},
		{"yes, we have a pulse, brilliant everyone", "pulse.present"},
		{"let's go through the reversible causes", "causes.review"},
		{"we've got rosc", "rosc"},
		{"we haven't got rosc", ""},
		{"pulse present while we compress", ""},
		{"don't turn the metronome off", ""},
	} {
		var ids []string
		for _, r := range hear(t, nil, speak(t, c[0]), 1600) {
			ids = append(ids, r.Callout)
		}
		if got := strings.Join(ids, " "); got != c[1] {
			t.Errorf("%q: heard %q, want %q", c[0], got, c[1])
		}
	}
}

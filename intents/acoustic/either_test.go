package acoustic

import "testing"

// Who takes back what they said means what they say then, in one breath or after a pause; of two between
// which nothing stands that takes one back, neither is called.
func TestTakesBackAndSaysAnew(t *testing.T) {
	for _, c := range []struct{ voice, text, want string }{
		{"slt", "v tach, no wait, v fib.", "rhythm.vf"},
		{"slt", "v fib. wait no, v tach.", "rhythm.vt"},
		{"awb", "v fib. wait no, v tach.", "rhythm.vt"},
		{"slt", "asystole, correction, p e a.", "rhythm.pea"},
		{"awb", "asystole, correction, p e a.", "rhythm.pea"},
		{"rms", "v fib. i mean v tach.", "rhythm.vt"},
		{"slt", "p e a. i mean asystole.", "rhythm.asystole"},
		{"slt", "v fib or v tach.", ""},
		{"awb", "v fib or v tach.", ""},
		{"slt", "no wait, v fib.", ""},
	} {
		last := ""
		for _, r := range hear(t, nil, speakAs(t, c.voice, c.text), 1600) {
			last = r.Callout
		}
		if last != c.want {
			t.Errorf("%s: of %q the last called is %q, not %q", c.voice, c.text, last, c.want)
		}
	}
}

// A denial or a question that has nearly the sound of what was done is not logged as done.
func TestNearlyDenied(t *testing.T) {
	for _, c := range [][2]string{
		{"slt", "the shock wasn't delivered."},
		{"slt", "airway isn't secured."},
		{"awb", "who started compressions."},
		{"rms", "who started compressions."},
		{"awb", "who stopped compressions."},
		{"kal16", "who stopped compressions."},
	} {
		if got := hear(t, nil, speakAs(t, c[0], c[1]), 1600); len(got) != 0 {
			t.Errorf("%s: %q: heard %+v", c[0], c[1], got)
		}
	}
	if got := hear(t, nil, speak(t, "airway secured. stop compressions."), 1600); len(got) != 2 {
		t.Errorf("heard %+v", got)
	}
}

package acoustic

import "testing"

// What goes on is no callout, though it begins as one, and neither is an order, what was, or what
// may be; the last ones are callouts.
func TestWhatGoesOn(t *testing.T) {
	for _, text := range []string{"cancel that epinephrine order.", "strike that from the list of drugs.", "she is not pregnant.",
		"give one milligram of epinephrine now.", "amiodarone is due.", "slow down the compressions.", "we need i v access."} {
		if got := hear(t, nil, speak(t, text), 1600); len(got) != 0 {
			t.Errorf("%q: heard %+v", text, got)
		}
	}
	done := "cancel that. gave one milligram of epinephrine. amiodarone is in. stop compressions please. we have i v access."
	if got := hear(t, nil, speak(t, done), 1600); len(got) != 5 {
		t.Errorf("%q: heard %+v", done, got)
	}
}

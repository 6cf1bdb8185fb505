package acoustic

import (
	"slices"
	"testing"

	"coxswain/intents"
)

// What is told with a time is heard with it, in voices of which one was never trained on; a
// number of minutes is no energy.
func TestTimeBehindACallout(t *testing.T) {
	for _, c := range [][3]string{
		{"slt", "epinephrine given two minutes ago", "two minutes ago"},
		{"rms", "shock delivered two minutes ago", "two minutes ago"},
		{"awb", "shock delivered one minute ago", "one minute ago"},
		{"slt", "epinephrine was given at two minutes", "at two minutes"},
		{"slt", "shock delivered half a minute ago", "half a minute ago"}, // half of it has the sound of joules
		{"awb", "calcium given a while ago", "a while ago"},
		{"rms", "epinephrine given", ""},
		{"kal16", "airway secured two minutes ago", "two minutes ago"},
	} {
		r := listener(t, nil)
		r.(intents.Candid).LeaveOpen()
		got, err := r.Hear(speakAs(t, c[0], c[1]))
		if err != nil {
			t.Fatal(err)
		}
		got = slices.DeleteFunc(got, func(x intents.Result) bool { return x.Answer }) // the time alone
		if len(got) != 1 || got[0].When != c[2] || len(got[0].Values) > 0 {
			t.Errorf("%s: %q: heard %+v, want its time %q", c[0], c[1], got, c[2])
		}
	}
}

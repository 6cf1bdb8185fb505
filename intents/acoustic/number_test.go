package acoustic

import (
	"strings"
	"testing"

	"coxswain/intents"
)

func TestOtherNumber(t *testing.T) {
	for said, want := range map[string]string{
		"lidocaine seventy milligrams given": "lidocaine seventeen milligrams given",
		"amiodarone one fifteen given":       "amiodarone one fifty given",
		"sixty two kilos":                    "", // nobody says sixteen two
		"shock delivered two hundred joules": "",
		"sixty and a bit":                    "sixteen and a bit",
	} {
		other, ok := otherNumber(strings.Fields(said))
		if ok != (want != "") || ok && strings.Join(other, " ") != want {
			t.Errorf("%q: %q, %v, want %q", said, other, ok, want)
		}
	}
}

// Whoever listens is told where nothing tells seventy from seventeen, and nothing can from can't,
// but knows what is clear.
func TestWhatSoundsAlike(t *testing.T) {
	wants := map[string][]string{
		"slt":   {"lidocaine seventeen milligrams given", "i can't feel a pulse or i can feel a pulse"},
		"kal16": {"lidocaine seventy milligrams given or lidocaine seventeen milligrams given", "i can't feel a pulse or i can feel a pulse"},
	}
	for voice, wants := range wants {
		r := listener(t, nil)
		r.(intents.Candid).LeaveOpen()
		got, err := r.Hear(speakAs(t, voice,
			"lidocaine seventeen milligrams given. i can feel a pulse. shock delivered at thirty joules."))
		if err != nil {
			t.Fatal(err)
		}
		var all []string
		for _, x := range got {
			s := x.Text
			for _, y := range x.Rivals {
				s += " or " + y.Text
			}
			all = append(all, s)
		}
		text := strings.Join(all, ", ")
		for _, want := range wants {
			if !strings.Contains(text, want) {
				t.Errorf("%s: heard %s, want %q", voice, text, want)
			}
		}
		if strings.Contains(text, "thirteen") {
			t.Errorf("%s: a number that is clear is doubted: %s", voice, text)
		}
	}
}

package intents

import "testing"

func TestReadWhen(t *testing.T) {
	for text, want := range map[string]When{
		"two minutes ago": {120, true}, "a minute ago": {60, true}, "half a minute ago": {30, true},
		"twenty five minutes ago": {1500, true}, "thirty seconds ago": {30, true}, "at four minutes": {240, false},
		"at minute six": {360, false}, "2 minutes ago": {120, true},
	} {
		if got, ok := ReadWhen(text); !ok || got != want {
			t.Errorf("%q: %v, %v, want %v", text, got, ok, want)
		}
	}
	for _, text := range []string{"", "earlier", "a while ago", "minutes ago", "a few minutes ago", "at two minutes ago",
		"two ago", "at noon", "not yet"} {
		if got, ok := ReadWhen(text); ok {
			t.Errorf("%q is read as %v", text, got)
		}
	}
}

// What is to be done in some minutes has not been done.
func TestAhead(t *testing.T) {
	for text, want := range map[string]bool{"in two minutes": true, "in one minute": true, "in the ambulance": false,
		"in two minutes or at two minutes": false, "at two minutes": false, "two minutes ago": false, "in minutes": false, "": false} {
		if got := Ahead(text); got != want {
			t.Errorf("%q lies ahead: %v", text, got)
		}
	}
}

// A time that is typed behind a callout is told with it.
func TestTypedTime(t *testing.T) {
	v := builtin(t)
	typed, err := NewTyped(v)
	if err != nil {
		t.Fatal(err)
	}
	for line, want := range map[string]string{
		"epinephrine 1 milligram given 2 minutes ago": "2 minutes ago", "shock delivered two minutes ago": "two minutes ago",
		"epi given at four minutes": "at four minutes", "epi given earlier": "earlier", "epi given": "",
	} {
		if r, err := typed.Read(line); err != nil || r.When != want || len(r.Values) > 1 {
			t.Errorf("%q: %+v, %v", line, r, err)
		}
	}
	if r, err := typed.Read("epi given in the morning"); err == nil {
		t.Errorf("%+v", r)
	}
}

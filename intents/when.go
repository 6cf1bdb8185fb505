package intents

import (
	"slices"
	"strings"
)

// When is a time that was told with a callout, as a recogniser returns it in Result.When.
type When struct {
	Seconds float64
	Ago     bool // so long before it was said; else so long after the case began
}

// Ahead reports whether a time that was told lies ahead: what is called with it has not happened.
func Ahead(text string) bool {
	said := strings.Fields(text)
	n := len(said)
	return n > 2 && said[0] == "in" && !slices.Contains(said, "or") && (said[n-1] == "minutes" || said[n-1] == "minute")
}

// ReadWhen reads a time as it is said: "two minutes ago", "at four minutes", "at minute
// four", "half a minute ago"; its number may be typed. ok is false for one that gives no number ("a while ago"), or no
// unit: what happened then cannot be put into its place.
func ReadWhen(text string) (when When, ok bool) {
	unit, number := 0.0, []string{}
	said := strings.Fields(text)
	for _, w := range said {
		switch strings.TrimSuffix(w, "s") {
		case "minute":
			unit = 60
		case "second":
			unit = 1
		case "at", "ago":
		default:
			number = append(number, w)
		}
	}
	when.Ago = slices.Contains(said, "ago")
	if unit == 0 || when.Ago == slices.Contains(said, "at") {
		return When{}, false
	}
	if slices.Equal(number, []string{"half", "a"}) {
		when.Seconds = unit / 2
		return when, true
	}
	n, err := typedNumber(number)
	when.Seconds = n * unit
	return when, err == nil
}

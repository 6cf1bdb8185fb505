package prompts

import (
	"regexp"
	"strings"
	"unicode/utf8"

	"coxswain/timeline"
)

// Written returns a cue as a screen shows it: numbers in figures, units by their symbols,
// each part a sentence, without the words that tell when, which a screen tells itself. What is
// said at its moment ("Pause.") would read like an order before it: for that the list `written`
// names the thing.
func (v *Voice) Written(c timeline.Cue) string {
	w := *v
	w.figures = true
	if text, ok := v.written[c.ID]; ok {
		c.Say = text
	}
	parts := c.Parts
	c.Parts = nil
	text := strings.TrimSuffix(strings.Join(w.pieces(c), " "), ".")
	text = strings.TrimSuffix(strings.TrimPrefix(text, "Next, "), ", now")
	_, n := utf8.DecodeRuneInString(text)
	out := []string{strings.ToUpper(text[:n]) + symbols(text[n:])}
	for _, p := range parts {
		out = append(out, v.Written(p))
	}
	return strings.Join(out, ". ")
}

// number are the texts of a number, spoken or in figures.
func (v *Voice) number(x float64) []string {
	if v.figures {
		return []string{timeline.FormatNumber(x)}
	}
	return NumberTexts(x)
}

var measured = regexp.MustCompile(`(\d) ([a-z]+?)s?\b`)

// unitSymbols are the symbols of units by their spoken names (SI Brochure, 9th edition;
// milliequivalents as the trade writes them).
var unitSymbols = map[string]string{
	"milligram": "mg", "microgram": "µg", "gram": "g", "kilo": "kg", "joule": "J", "milliliter": "ml",
	"millilitre": "ml", "milliequivalent": "mEq", "second": "s", "minute": "min", "percent": "%",
}

// symbols writes units behind figures by their symbols.
func symbols(text string) string {
	return measured.ReplaceAllStringFunc(text, func(m string) string {
		part := measured.FindStringSubmatch(m)
		if s, ok := unitSymbols[part[2]]; ok {
			return part[1] + " " + s
		}
		return m
	})
}

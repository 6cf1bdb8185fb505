package intents

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Op is what an Expr does with its parts.
type Op int

// A word; its parts in order; one of its parts.
const (
	Word Op = iota
	Seq
	Alt
)

// Expr is a small grammar of words: enough for phrases with spoken numbers,
// and simple enough for any recogniser to compile.
type Expr struct {
	Op   Op
	Text string // of a Word; "" is nothing
	Kids []Expr
}

func word(w string) Expr { return Expr{Op: Word, Text: w} }
func seq(k ...Expr) Expr { return Expr{Op: Seq, Kids: k} }
func alt(k ...Expr) Expr { return Expr{Op: Alt, Kids: k} }
func opt(k ...Expr) Expr { return alt(word(""), seq(k...)) }

func words(list string) Expr {
	var k []Expr
	for _, w := range strings.Fields(list) {
		k = append(k, word(w))
	}
	return alt(k...)
}

var (
	digitWords = strings.Fields("zero one two three four five six seven eight nine")
	teenWords  = strings.Fields("ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tensWords  = strings.Fields("_ _ twenty thirty forty fifty sixty seventy eighty ninety")
)

// NumberExpr is the grammar of numbers as they are said: "two hundred", "one
// hundred twenty", "one twenty", "one hundred and five", "one point five".
func NumberExpr(s Slot) Expr {
	digit := words("one two three four five six seven eight nine")
	teen := words(strings.Join(teenWords, " "))
	tens := words(strings.Join(tensWords[2:], " "))
	under100 := alt(digit, teen, seq(tens, opt(digit)))
	kids := []Expr{under100}
	if s.Max >= 100 {
		lead := alt(word("a"), words(strings.Join(digitWords[1:min(10, 1+int(s.Max/100))], " ")))
		kids = append(kids, seq(lead, word("hundred"), opt(opt(word("and")), under100)))
		kids = append(
			kids,
			seq(words(strings.Join(digitWords[1:min(10, 1+int(s.Max/100))], " ")), alt(teen, seq(tens, opt(digit)))),
		)
	}
	if s.Max >= 1000 {
		kids = append(kids, seq(alt(word("a"), digit), word("thousand"), opt(digit, word("hundred"))))
	}
	if s.Step != 1 {
		any := words("zero oh one two three four five six seven eight nine")
		kids = append(kids, seq(alt(word(""), word("zero"), under100), word("point"), any, opt(any)))
	}
	return alt(kids...)
}

// SayNumber is the grammar of one number, a whole one from 1 to 999: the ways of
// NumberExpr to say it.
func SayNumber(n int) Expr {
	small := func(n int) Expr {
		switch {
		case n < 10:
			return word(digitWords[n])
		case n < 20:
			return word(teenWords[n-10])
		case n%10 == 0:
			return word(tensWords[n/10])
		}
		return seq(word(tensWords[n/10]), word(digitWords[n%10]))
	}
	if n < 100 {
		return small(n)
	}
	h, rest := word(digitWords[n/100]), n%100
	lead := h
	if n < 200 {
		lead = alt(word("a"), h)
	}
	switch {
	case rest == 0:
		return seq(lead, word("hundred"))
	case rest < 10:
		return seq(lead, word("hundred"), opt(word("and")), small(rest))
	}
	return alt(seq(lead, word("hundred"), opt(word("and")), small(rest)), seq(h, small(rest)))
}

// ParseNumber returns the value of a spoken number.
func ParseNumber(text []string) (float64, error) {
	bad := fmt.Errorf("%q is no number", strings.Join(text, " "))
	if len(text) == 0 || len(text) > 12 {
		return 0, bad
	}
	for i, w := range text {
		if w != "point" {
			continue
		}
		whole, frac, scale := 0.0, 0.0, 1.0
		if i > 0 && !(i == 1 && text[0] == "zero") {
			var err error
			if whole, err = parseWhole(text[:i]); err != nil {
				return 0, bad
			}
		}
		for _, d := range text[i+1:] {
			k := indexOf(digitWords, d)
			if d == "oh" {
				k = 0
			}
			if k < 0 {
				return 0, bad
			}
			scale *= 10
			frac = frac*10 + float64(k)
		}
		if scale == 1 {
			return 0, bad
		}
		return whole + frac/scale, nil
	}
	return parseWhole(text)
}

func parseWhole(text []string) (float64, error) {
	n := spokenNumber{size: math.MaxInt}
	for _, w := range text {
		if !n.multiply(w) && !n.add(w) && !(w == "and" && (n.size == 100 || n.size == 1000)) {
			return 0, fmt.Errorf("%q is no number", strings.Join(text, " "))
		}
	}
	if n.total+n.part == 0 {
		return 0, fmt.Errorf("%q is no number", strings.Join(text, " "))
	}
	return float64(n.total + n.part), nil
}

// spokenNumber is a number as far as it was said: thousands, and what follows
// them. size is the place value of the last word.
type spokenNumber struct{ total, part, size int }

// multiply takes a word that multiplies what was said, or stands for it.
func (n *spokenNumber) multiply(w string) bool {
	digit := n.part >= 1 && n.part <= 9
	switch {
	case w == "a" && n.part == 0:
		n.part, n.size = 1, 1
	case w == "hundred" && digit:
		n.part, n.size = n.part*100, 100
	case w == "thousand" && n.total == 0 && digit:
		n.total, n.part, n.size = n.part*1000, 0, 1000
	default:
		return false
	}
	return true
}

// add takes a digit, a teen or a ten that fits below the last word. "One
// twenty" and "one fifteen" leave out the hundred.
func (n *spokenNumber) add(w string) bool {
	d, size := indexOf(digitWords[1:], w)+1, 1
	if t := indexOf(teenWords, w); t >= 0 {
		d = 10 + t
	} else if z := indexOf(tensWords, w); z >= 2 {
		d, size = 10*z, 10
	}
	most := map[bool]int{true: 1, false: 10}[d < 10] // place value that the word before must be above
	switch {
	case d == 0:
		return false
	case n.size > most:
		n.part += d
	case d >= 10 && n.size == 1 && n.part >= 1 && n.part <= 9:
		n.part = 100*n.part + d
	default:
		return false
	}
	n.size = size
	return true
}

func indexOf(list []string, w string) int {
	for i, x := range list {
		if x == w {
			return i
		}
	}
	return -1
}

// Phrase is one way to say a callout, as a grammar. Slots lists the slots in
// the order of the phrase.
type Phrase struct {
	Callout *Callout
	Text    string
	Parts   []Part
	Answer  bool // counts only as an answer to a question
	// Inflects is, of talk that is another form of a callout's words, that callout.
	Inflects *Callout
}

// Part is a word or a slot of a phrase.
type Part struct {
	Word string // empty for a slot
	Slot string
}

// HasSlot reports whether a number is part of the phrase.
func (p Phrase) HasSlot() bool {
	return slices.ContainsFunc(p.Parts, func(x Part) bool { return x.Slot != "" })
}

// Compile lists all phrases of the vocabulary, talk last. Each is checked to be sayable:
// the error names the callout and the word without a pronunciation.
func (v *Vocabulary) Compile() ([]Phrase, error) {
	var out []Phrase
	for i := range v.Callouts {
		c := &v.Callouts[i]
		for _, p := range c.Phrases {
			ph := Phrase{Callout: c, Text: p}
			text := p
			if (c.Lead || v.LeadAll) && v.LeadWord != "" {
				text = v.LeadWord + " " + p
			}
			var err error
			if ph.Parts, err = v.parts(text); err != nil {
				return nil, fmt.Errorf("callout %s (line %d): %w", c.ID, c.Line, err)
			}
			out = append(out, ph)
		}
	}
	for _, t := range v.Talk {
		parts, err := v.parts(t.Text)
		if err != nil {
			return nil, fmt.Errorf("talk (line %d): %w", t.Line, err)
		}
		out = append(out, Phrase{Callout: &talk, Text: t.Text, Parts: parts})
	}
	return append(out, v.inflections()...), nil
}

// CompileAnswers lists the phrases that count only as answers to a question.
func (v *Vocabulary) CompileAnswers() ([]Phrase, error) {
	var out []Phrase
	for i := range v.Callouts {
		c := &v.Callouts[i]
		for _, p := range c.Answers {
			parts, err := v.parts(p)
			if err != nil {
				return nil, fmt.Errorf("callout %s (line %d): %w", c.ID, c.Line, err)
			}
			out = append(out, Phrase{Callout: c, Text: p, Parts: parts, Answer: true})
		}
	}
	return out, nil
}

// parts splits a phrase; its words must be sayable and its slots known.
func (v *Vocabulary) parts(text string) ([]Part, error) {
	var out []Part
	for _, w := range strings.Fields(text) {
		if slotForm.MatchString(w) {
			slot, err := v.slot(w)
			if err != nil {
				return nil, err
			}
			out = append(out, Part{Slot: slot})
			continue
		}
		if _, err := v.Pronounce(w); err != nil {
			return nil, err
		}
		out = append(out, Part{Word: w})
	}
	return out, nil
}

// Values reads the slots of a phrase out of the words that were said for it.
// It fails if a number does not lie in its slot's bounds.
func (v *Vocabulary) Values(p Phrase, said []string) (map[string]float64, error) {
	values := map[string]float64{}
	for i, part := range p.Parts {
		if part.Word != "" {
			if len(said) == 0 || said[0] != part.Word {
				return nil, fmt.Errorf("%q is not said as %q", strings.Join(said, " "), p.Text)
			}
			said = said[1:]
			continue
		}
		n := len(said) // the number runs to the next fixed word
		if i+1 < len(p.Parts) {
			if n = indexOf(said, p.Parts[i+1].Word); n < 0 {
				return nil, fmt.Errorf("%q is not said as %q", strings.Join(said, " "), p.Text)
			}
		}
		x, err := ParseNumber(said[:n])
		if err != nil {
			return nil, err
		}
		x, s, ok := v.read(p, i, x)
		if !ok {
			return nil, fmt.Errorf("%v %s: outside %v to %v", x, s.Unit, s.Min, s.Max)
		}
		values[part.Slot] = x
		said = said[n:]
	}
	if len(said) > 0 { // of "shock delivered two hundred joules", "shock delivered" is not the phrase
		return nil, fmt.Errorf("%q is left over of %q", strings.Join(said, " "), p.Text)
	}
	return values, nil
}

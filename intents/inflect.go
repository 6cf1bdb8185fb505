package intents

import (
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Form is a verb that a phrase begins with.
type Form struct {
	Order string `yaml:"order" json:"order"` // "stop"
	Past  string `yaml:"past" json:"past"`   // "stopped"
	Doing string `yaml:"doing" json:"doing"` // "stopping"
	// Done says that the order means that it is done, and is a callout itself.
	Done bool `yaml:"done" json:"done,omitempty"`
	line int
}

// UnmarshalYAML keeps the line for errors.
func (f *Form) UnmarshalYAML(n *yaml.Node) error {
	type plain Form
	if err := OnlyKeys(n, "in a form: known are order, past, doing, done", "order", "past", "doing", "done"); err != nil {
		return err
	}
	err := n.Decode((*plain)(f))
	f.line = n.Line
	return err
}

// Orders reports whether a word is a verb in the form of an order, and nothing else.
func (a Around) Orders(word string) bool {
	return slices.ContainsFunc(a.Forms, func(f Form) bool { return f.Done && f.Order == word })
}

// Opening is the first words of phrases, and what they become when the same is asked, denied, or
// told of another time.
type Opening struct {
	Said  string `yaml:"said" json:"said"`   // "we have"
	Meant string `yaml:"meant" json:"meant"` // "he had"
	line  int
}

// UnmarshalYAML keeps the line for errors.
func (o *Opening) UnmarshalYAML(n *yaml.Node) error {
	type plain Opening
	if err := OnlyKeys(n, "in an opening: known are said, meant", "said", "meant"); err != nil {
		return err
	}
	err := n.Decode((*plain)(o))
	o.line = n.Line
	return err
}

// checkForms cleans the forms and openings of a file and finds what cannot be one.
func (a *Around) checkForms(name string) error {
	if len(a.Forms) > 100 || len(a.Openings) > 100 {
		return fmt.Errorf("%s:%d: around: more than 100 forms or openings", name, a.line("", ""))
	}
	for i := range a.Forms {
		f := &a.Forms[i]
		f.Order, f.Past, f.Doing = clean(f.Order), clean(f.Past), clean(f.Doing)
		for _, w := range []string{f.Order, f.Past, f.Doing} {
			if !wordForm.MatchString(w) {
				return fmt.Errorf("%s:%d: around: forms: %q: want one word in letters", name, f.line, w)
			}
		}
	}
	for i := range a.Openings {
		o := &a.Openings[i]
		o.Said, o.Meant = clean(o.Said), clean(o.Meant)
		for _, words := range []string{o.Said, o.Meant} {
			if !plainWords(words) {
				return fmt.Errorf("%s:%d: around: openings: %q: want 1 to 20 words in letters", name, o.line, words)
			}
		}
	}
	return nil
}

// sayableForms finds a word of the forms and openings of a file that has no pronunciation, and a
// callout that would be lost to them.
func (v *Vocabulary) sayableForms(name string, a Around) error {
	lost := func(part Around) string {
		only := *v
		only.Around.Forms, only.Around.Openings = part.Forms, part.Openings
		for _, p := range only.inflections() {
			if i := slices.IndexFunc(v.Callouts, func(c Callout) bool { return slices.Contains(c.Phrases, p.Text) }); i >= 0 {
				return fmt.Sprintf("%q is a phrase of %s and would be lost", p.Text, v.Callouts[i].ID)
			}
		}
		return ""
	}
	for _, f := range a.Forms {
		if _, err := v.parts(f.Order + " " + f.Past + " " + f.Doing); err != nil {
			return fmt.Errorf("%s:%d: around: forms: %w", name, f.line, err)
		}
		if why := lost(Around{Forms: []Form{f}}); why != "" {
			return fmt.Errorf("%s:%d: around: forms: %s", name, f.line, why)
		}
	}
	for _, o := range a.Openings {
		if _, err := v.parts(o.Said + " " + o.Meant); err != nil {
			return fmt.Errorf("%s:%d: around: openings: %w", name, o.line, err)
		}
		if why := lost(Around{Openings: []Opening{o}}); why != "" {
			return fmt.Errorf("%s:%d: around: openings: %s", name, o.line, why)
		}
	}
	return nil
}

// dangerous are the callouts, by how their ids begin, whose inflections are talk: what
// is logged wrongly of them is acted on.
var dangerous = []string{"compressions.", "shock.", "drug."}

// inflections are sentences that have the sound of a callout in another form of its words
// and report nothing: "who started compressions",
// "charge to two hundred". The words around a callout do not tell them: the form that
// differs lies in the callout's own words. They compete as talk.
func (v *Vocabulary) inflections() (out []Phrase) {
	if len(v.Around.Forbid) == 0 {
		return nil
	}
	seen := map[string]bool{}
	for i := range v.Callouts {
		c := &v.Callouts[i]
		acted := slices.ContainsFunc(dangerous, func(x string) bool { return strings.HasPrefix(c.ID, x) })
		for _, p := range c.Phrases {
			for _, s := range v.Around.inflect(strings.Fields(p), acted) {
				parts, err := v.parts(s)
				if err == nil && !seen[s] && !slices.Contains(c.Phrases, s) {
					out = append(out, Phrase{Callout: &talk, Text: s, Parts: parts, Inflects: c})
				}
				seen[s] = true
			}
		}
	}
	return out
}

// inflect lists what one phrase becomes; acted: its callout is acted on.
func (a Around) inflect(words []string, acted bool) (out []string) {
	for _, o := range a.Openings {
		if rest, ok := strings.CutPrefix(strings.Join(words, " "), o.Said+" "); ok {
			out = append(out, o.Meant+" "+rest)
		}
	}
	rest := strings.Join(words[1:], " ")
	if drug, ok := strings.CutSuffix(strings.Join(words, " "), " is in"); ok && acted {
		out = append(out, drug+" is due")
	}
	for _, w := range a.Forms {
		switch {
		case rest == "" || !acted:
		case words[0] == w.Order:
			out = append(out, "who "+w.Past+" "+rest, "they "+w.Past+" "+rest, "who is "+w.Doing+" "+rest)
		case words[0] == w.Past && !w.Done, words[0] == w.Doing:
			out = append(out, w.Order+" "+rest)
		}
	}
	return out
}

package paper

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"

	"go.yaml.in/yaml/v3"

	"coxswain/intents"
	"coxswain/timeline"
)

// Spell shows a slot as what the speaker fills in; the phrase names its unit.
func Spell(v *intents.Vocabulary, phrase string) string {
	for name := range v.Slots {
		phrase = strings.ReplaceAll(phrase, "{"+name+"}", "…")
	}
	return phrase
}

//go:embed card.yaml
var cardFile []byte

// cardSide is one side of the printed card.
type cardSide struct {
	Title  string
	Groups []cardGroup
}

// Roomy reports whether there is room on the side for larger letters.
func (s cardSide) Roomy() bool {
	n := 0
	for _, g := range s.Groups {
		n += len(g.Lines)
	}
	return n <= roomy
}

// roomy is up to how many lines a side has larger letters: it stays one page of A4, and of Letter.
const roomy = 55

// cardGroup is what is said at one moment.
type cardGroup struct {
	Title    string
	Callouts []string
	Say      string     // one line for all of them
	Lines    []cardLine `yaml:"-"`
}

// cardLine is one way to say a callout, and how many others there are.
type cardLine struct {
	Say    string
	Others int
}

// covers reports whether the group names a callout.
func (g cardGroup) covers(id string) bool {
	for _, c := range g.Callouts {
		if head, all := strings.CutSuffix(c, "*"); c == id || all && strings.HasPrefix(id, head) {
			return true
		}
	}
	return false
}

// card lays a vocabulary out on the sides of the card.
func card(v *intents.Vocabulary) ([]cardSide, error) {
	var sides []cardSide
	if err := yaml.Unmarshal(cardFile, &sides); err != nil {
		return nil, fmt.Errorf("card.yaml: %w", err)
	}
	placed := map[string]bool{}
	for _, s := range sides {
		for i := range s.Groups {
			g := &s.Groups[i]
			if g.Say != "" {
				g.Lines = []cardLine{{Say: g.Say}}
			}
			for _, c := range v.Callouts {
				if !g.covers(c.ID) {
					continue
				}
				placed[c.ID] = true
				if g.Say == "" {
					g.Lines = append(g.Lines, cardLine{wayToSay(v, c), len(c.Phrases) - 1})
				}
			}
		}
	}
	more := cardGroup{Title: "Your unit's own"}
	for _, c := range v.Callouts {
		if !placed[c.ID] {
			more.Lines = append(more.Lines, cardLine{wayToSay(v, c), len(c.Phrases) - 1})
		}
	}
	if len(more.Lines) > 0 {
		sides[0].Groups = append(sides[0].Groups, more)
	}
	for i := range sides {
		sides[i].Groups = withLines(sides[i].Groups)
	}
	return sides, nil
}

// withLines leaves out groups that a site's vocabulary says nothing for.
func withLines(all []cardGroup) (out []cardGroup) {
	for _, g := range all {
		if len(g.Lines) > 0 {
			out = append(out, g)
		}
	}
	return out
}

// wayToSay is the usual way to say a callout: with its number where it has one.
func wayToSay(v *intents.Vocabulary, c intents.Callout) string {
	say := c.Phrases[0]
	for _, p := range c.Phrases {
		if strings.Contains(p, "{") {
			if say != p {
				say += "; " + p
			}
			break
		}
	}
	return Spell(v, say)
}

//go:embed card.html
var cardHTML string

//go:embed list.html
var listHTML string

// Card writes the card of a vocabulary as a page to print (HTML), one side of A4
// for each situation.
func Card(w io.Writer, v *intents.Vocabulary, caution string) error {
	sides, err := card(v)
	if err != nil {
		return err
	}
	t, err := template.New("card").Parse(cardHTML)
	if err != nil {
		return err
	}
	return t.Execute(w, map[string]any{"Sides": sides, "Caution": caution})
}

// List writes every way to say each callout as a page with a search (HTML).
func List(w io.Writer, v *intents.Vocabulary, caution string) error {
	type row struct {
		Means   string
		Phrases []string
	}
	var rows []row
	for _, c := range v.Callouts {
		r := row{Means: timeline.Event{Kind: timeline.Kind(c.ID)}.Words()}
		for _, p := range c.Phrases {
			r.Phrases = append(r.Phrases, Spell(v, p))
		}
		rows = append(rows, r)
	}
	t, err := template.New("list").Parse(listHTML)
	if err != nil {
		return err
	}
	return t.Execute(w, map[string]any{"Callouts": rows, "Caution": caution})
}

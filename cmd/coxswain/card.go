package main

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"os"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"go.yaml.in/yaml/v3"

	"coxswain/cmd/coxswain/config"
	"coxswain/intents"
	"coxswain/timeline"
)

func newCallouts(c *config.Config) *cobra.Command {
	var asJSON bool
	var page, list string
	cmd := &cobra.Command{
		Use: "callouts", Short: "Print the card of everything that can be said",
		Example: `  coxswain callouts
  coxswain callouts --page card.html            # to print: a side for an arrest, a pulse, children
  coxswain callouts --list all.html             # every way to say it, to search
  coxswain callouts --json
  coxswain callouts --vocabulary our-unit.yaml`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			v, err := intents.LoadVocabulary(c.Vocabulary...)
			if err != nil {
				return err
			}
			if _, err := v.Compile(); err != nil {
				return err
			}
			if page != "" {
				if err := writeTo(page, func(w io.Writer) error { return writeCard(w, v) }); err != nil {
					return err
				}
			}
			if list != "" {
				if err := writeTo(list, func(w io.Writer) error { return writeList(w, v) }); err != nil {
					return err
				}
			}
			switch {
			case asJSON:
				return json.NewEncoder(cmd.OutOrStdout()).Encode(v)
			case page != "" || list != "":
				return nil
			}
			return printCard(cmd.OutOrStdout(), v)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "the whole vocabulary as JSON")
	cmd.Flags().StringVar(&page, "page", "", "write the card to print (HTML) to this file")
	cmd.Flags().StringVar(&list, "list", "", "write every way to say it, with a search (HTML), to this file")
	return cmd
}

// writeTo has a file written.
func writeTo(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	err = write(f)
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return err
}

// spell shows a slot as what the speaker fills in; the phrase names its unit.
func spell(v *intents.Vocabulary, phrase string) string {
	for name := range v.Slots {
		phrase = strings.ReplaceAll(phrase, "{"+name+"}", "…")
	}
	return phrase
}

func printCard(w io.Writer, v *intents.Vocabulary) error {
	fmt.Fprintln(w, "Say what was done, as it is done. … is a spoken number.")
	fmt.Fprintln(w)
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	for _, c := range v.Callouts {
		for i, p := range c.Phrases {
			id := c.ID
			if i > 0 {
				id = ""
			}
			fmt.Fprintf(tw, "%s\t%s\n", id, spell(v, p))
		}
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n"+Caution)
	return nil
}

//go:embed card.yaml
var cardFile []byte

// cardSide is one side of the printed card.
type cardSide struct {
	Title  string
	Groups []cardGroup
}

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
	return spell(v, say)
}

//go:embed card.html
var cardHTML string

//go:embed list.html
var listHTML string

func writeCard(w io.Writer, v *intents.Vocabulary) error {
	sides, err := card(v)
	if err != nil {
		return err
	}
	t, err := template.New("card").Parse(cardHTML)
	if err != nil {
		return err
	}
	return t.Execute(w, map[string]any{"Sides": sides, "Caution": Caution})
}

func writeList(w io.Writer, v *intents.Vocabulary) error {
	type row struct {
		Means   string
		Phrases []string
	}
	var rows []row
	for _, c := range v.Callouts {
		r := row{Means: timeline.Event{Kind: timeline.Kind(c.ID)}.Words()}
		for _, p := range c.Phrases {
			r.Phrases = append(r.Phrases, spell(v, p))
		}
		rows = append(rows, r)
	}
	t, err := template.New("list").Parse(listHTML)
	if err != nil {
		return err
	}
	return t.Execute(w, map[string]any{"Callouts": rows, "Caution": Caution})
}

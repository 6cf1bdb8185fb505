package main

import (
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/intents"
)

func newCallouts(c *config.Config) *cobra.Command {
	var asJSON bool
	var page string
	cmd := &cobra.Command{
		Use: "callouts", Short: "Print the card of everything that can be said",
		Example: `  coxswain callouts
  coxswain callouts --page card.html            # to print, one side of A4 or Letter
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
			switch {
			case asJSON:
				return json.NewEncoder(cmd.OutOrStdout()).Encode(v)
			case page != "":
				return writePage(page, v)
			}
			return printCard(cmd.OutOrStdout(), v)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "the whole vocabulary as JSON")
	cmd.Flags().StringVar(&page, "page", "", "write a printable page (HTML) to this file")
	return cmd
}

// spell shows a slot as what the speaker fills in.
func spell(v *intents.Vocabulary, phrase string) string {
	for name, s := range v.Slots {
		short := map[string]string{"joules": "J", "milligrams": "mg", "kilograms": "kg", "minutes": "min"}[s.Unit]
		if short == "" {
			short = s.Unit
		}
		phrase = strings.ReplaceAll(phrase, "{"+name+"}", "<"+short+">")
	}
	return phrase
}

func printCard(w io.Writer, v *intents.Vocabulary) error {
	fmt.Fprintln(w, "Say what was done, as it is done. <J> and <mg> are spoken numbers.")
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

var cardPage = template.Must(template.New("card").Parse(`<!doctype html>
<html lang="en"><meta charset="utf-8"><title>Callout card</title>
<style>
@page{margin:12mm}
body{font:10.5pt/1.3 system-ui,sans-serif;color:#111;max-width:190mm;margin:0 auto;padding:4mm}
h1{font-size:16pt;margin:0 0 2mm}
p{margin:0 0 3mm}
dl{columns:3;column-gap:7mm;margin:0}
div{break-inside:avoid;margin-bottom:2.5mm;border-left:1mm solid #36565c;padding-left:2mm}
dt{font-weight:700}
dd{margin:0;color:#333}
footer{margin-top:4mm;border-top:1px solid #999;padding-top:2mm;font-weight:600}
</style>
<h1>What coxswain hears</h1>
<p>Say what was done, as it is done. The first line is the usual way, the others count as well. J and mg stand for spoken numbers.</p>
<dl>{{range .Callouts}}<div><dt>{{index .Phrases 0}}</dt>{{range slice .Phrases 1}}<dd>{{.}}</dd>{{end}}</div>
{{end}}</dl>
<footer>{{.Caution}}</footer>
</html>
`))

func writePage(path string, v *intents.Vocabulary) error {
	shown := make([]intents.Callout, len(v.Callouts))
	for i, c := range v.Callouts {
		shown[i] = intents.Callout{ID: c.ID}
		for _, p := range c.Phrases {
			shown[i].Phrases = append(shown[i].Phrases, spell(v, p))
		}
	}
	return toFile(path, func(w io.Writer) error {
		return cardPage.Execute(w, map[string]any{"Callouts": shown, "Caution": Caution})
	})
}

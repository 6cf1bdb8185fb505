package main

import (
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/paper"
	"coxswain/intents"
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
				if err := toFile(page, func(w io.Writer) error { return paper.Card(w, v, Caution) }); err != nil {
					return err
				}
			}
			if list != "" {
				if err := toFile(list, func(w io.Writer) error { return paper.List(w, v, Caution) }); err != nil {
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
			fmt.Fprintf(tw, "%s\t%s\n", id, paper.Spell(v, p))
		}
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n"+Caution)
	return nil
}

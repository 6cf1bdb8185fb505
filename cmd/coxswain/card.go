package main

import (
	"encoding/json"
	"io"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/paper"
	"coxswain/cmd/coxswain/rig"
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
			all, v, err := rig.Vocabularies(c)
			if err != nil {
				return err
			}
			if err := paper.ToFile(page, func(w io.Writer) error { return paper.Card(w, v, Caution) }); err != nil {
				return err
			}
			if err := paper.ToFile(list, func(w io.Writer) error { return paper.List(w, v, Caution) }); err != nil {
				return err
			}
			switch {
			case asJSON:
				return json.NewEncoder(cmd.OutOrStdout()).Encode(all)
			case page != "" || list != "":
				return nil
			}
			return paper.CardText(cmd.OutOrStdout(), v, Caution)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "the whole vocabulary as JSON")
	cmd.Flags().StringVar(&page, "page", "", "write the card to print (HTML) to this file")
	cmd.Flags().StringVar(&list, "list", "", "write every way to say it, with a search (HTML), to this file")
	return cmd
}

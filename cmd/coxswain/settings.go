package main

import (
	"encoding/json"
	"fmt"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/rig"
)

func newConfigCmd(c *config.Config) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use: "config", Short: "Print every setting and its value",
		Long: "Print every setting and its value. Precedence, highest first: " +
			"flag, environment (COXSWAIN_RATE), file (--config), default.",
		Example: "  coxswain config\n" +
			"  COXSWAIN_RATE=105 coxswain config\n  coxswain config --config /etc/coxswain.yaml --json",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if err := rig.Readable(c); err != nil {
				return err
			}
			if asJSON {
				return json.NewEncoder(cmd.OutOrStdout()).Encode(c.Lines())
			}
			for _, l := range c.Lines() {
				fmt.Fprintf(cmd.OutOrStdout(), "%s: %v\t# %s\n", l.Key, l.Value, l.Usage)
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return cmd
}

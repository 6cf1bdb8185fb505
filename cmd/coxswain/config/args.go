package config

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
)

// OwnWords says what a command wants instead of how many arguments it got.
func OwnWords(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if check == nil || check(cmd, args) == nil {
			return nil
		}
		said := "something is missing"
		for n := range args {
			if check(cmd, args[:n]) == nil {
				said = fmt.Sprintf("%q is one too many", args[n])
			}
		}
		return fmt.Errorf(
			"%s: say %s; see %s --help",
			said,
			strings.TrimSuffix(cmd.UseLine(), " [flags]"),
			cmd.CommandPath(),
		)
	}
}

// NoArgs refuses an unknown command with what is near it.
func NoArgs(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	if near := cmd.SuggestionsFor(args[0]); len(near) > 0 {
		return fmt.Errorf("there is no command %q: did you mean %s?", args[0], strings.Join(near, " or "))
	}
	return fmt.Errorf("there is no command %q: see coxswain --help", args[0])
}

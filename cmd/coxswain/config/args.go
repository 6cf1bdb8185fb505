package config

import (
	"errors"
	"fmt"
	"io/fs"
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

// OneLine is what somebody reads of an error: one line and, of a file that is not there, what to do about it.
func OneLine(err error) string {
	line := strings.ReplaceAll(strings.TrimSpace(err.Error()), "\n", "; ")
	var at *fs.PathError
	switch {
	case !errors.As(err, &at) || !errors.Is(at.Err, fs.ErrNotExist) || at.Op != "stat" && at.Op != "open":
		return line
	case at.Path == "":
		return strings.Replace(line, at.Error(), "no file is named: give its path", 1)
	}
	return strings.Replace(line, at.Error(), at.Path+": no such file: is its name right?", 1)
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

package main

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
)

func newRetain(c *config.Config) *cobra.Command {
	var age string
	var really bool
	cmd := &cobra.Command{
		Use: "retain --older-than AGE", Short: "Delete records by age",
		Long: `List the records under --records that began longer than AGE ago (such as 90d),
by their journals, encrypted ones by their names. One of a machine whose clock was not
set (1970), or replayed without --wall (2000), is kept, and said. With --delete they are
deleted; where they go to the hospital's store, only those that it says it has, or had
for as long as it keeps any.`,
		Example: `  coxswain retain --older-than 90d             # a dry run
  coxswain retain --older-than 90d --delete`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			days, err := strconv.Atoi(strings.TrimSuffix(age, "d"))
			if err != nil || days < 1 || !strings.HasSuffix(age, "d") {
				return fmt.Errorf("--older-than %q: want days, such as 90d", age)
			}
			return rigOf(c, cmd).Retain(cmd.Context(), cmd.OutOrStdout(), time.Now().AddDate(0, 0, -days), really)
		},
	}
	cmd.Flags().StringVar(&age, "older-than", "", "age in days, such as 90d")
	cmd.Flags().BoolVar(&really, "delete", false, "delete, not only list")
	return cmd
}

package main

import (
	"fmt"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/timeline/record"
)

func newRetain(c *config.Config) *cobra.Command {
	var age string
	var really bool
	cmd := &cobra.Command{
		Use: "retain --older-than AGE", Short: "Delete records by age",
		Long: `List the records under --records that began longer than AGE ago (such as 90d),
encrypted ones too. With --delete they are deleted.`,
		Example: `  coxswain retain --older-than 90d             # a dry run
  coxswain retain --older-than 90d --delete`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			days, err := strconv.Atoi(strings.TrimSuffix(age, "d"))
			if err != nil || days < 1 || !strings.HasSuffix(age, "d") {
				return fmt.Errorf("--older-than %q: want days, such as 90d", age)
			}
			old, err := record.OlderThan(c.Folder, time.Now().AddDate(0, 0, -days))
			if err != nil {
				return err
			}
			for _, path := range old {
				if really {
					if err := os.RemoveAll(path); err != nil {
						return err
					}
					fmt.Fprintln(cmd.OutOrStdout(), "deleted", path)
				} else {
					fmt.Fprintln(cmd.OutOrStdout(), "would delete", path)
				}
			}
			if !really {
				fmt.Fprintf(cmd.OutOrStdout(), "%d records; nothing was deleted: say --delete\n", len(old))
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&age, "older-than", "", "age in days, such as 90d")
	cmd.Flags().BoolVar(&really, "delete", false, "delete, not only list")
	return cmd
}

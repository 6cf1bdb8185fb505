package main

import (
	"fmt"

	"coxswain/cmd/coxswain/config"
	"coxswain/timeline/record"

	"github.com/spf13/cobra"
)

func newSeal(c *config.Config) *cobra.Command {
	var to string
	var all, remove bool
	cmd := &cobra.Command{
		Use: "seal [DIR...] --to RECIPIENTS", Short: "Encrypt finished records to a site key",
		Long: `Encrypt finished records with age (age-encryption.org/v1) to the keys in
RECIPIENTS, one age1... a line, into DIR.tar.age, which is on the disk before
--remove deletes the folder; one that has yet to go to the hospital's store stays.
Open one with coxswain unseal or with age itself.`,
		Example: `  age-keygen -o site.key && age-keygen -y site.key > site.pub
  coxswain seal records/2026-03-01T140000 --to site.pub --remove
  coxswain seal --all --to site.pub --remove       # nightly`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if all {
				found, err := record.Dirs(c.Folder)
				if err != nil {
					return err
				}
				args = append(args, found...)
			}
			keys, err := record.Recipients(to)
			if err != nil {
				return fmt.Errorf("--to: %w", err)
			}
			return rigOf(c, cmd).Seal(cmd.OutOrStdout(), args, keys, all, remove)
		},
	}
	cmd.Flags().StringVar(&to, "to", "", "file of age public keys")
	cmd.Flags().BoolVar(&all, "all", false, "every finished record under --records")
	cmd.Flags().BoolVar(&remove, "remove", false, "delete the folder once the encrypted file is safe")
	return cmd
}

func newUnseal() *cobra.Command {
	var identity, out string
	cmd := &cobra.Command{
		Use: "unseal FILE.tar.age --identity KEY --out DIR", Short: "Open an encrypted record",
		Example: "  coxswain unseal records/2026-03-01T140000.tar.age --identity site.key --out /tmp/record",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if identity == "" || out == "" {
				return fmt.Errorf("say --identity KEY and --out DIR")
			}
			ids, err := record.Identities(identity)
			if err != nil {
				return fmt.Errorf("--identity: %w", err)
			}
			if err := record.Unseal(args[0], ids, out); err != nil {
				return fmt.Errorf("%s: %w", args[0], err)
			}
			_, err = fmt.Fprintln(cmd.OutOrStdout(), out)
			return err
		},
	}
	cmd.Flags().StringVar(&identity, "identity", "", "file with the age secret key")
	cmd.Flags().StringVar(&out, "out", "", "new folder for the record")
	return cmd
}

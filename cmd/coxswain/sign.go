package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/timeline/record"
)

func newKey() *cobra.Command {
	return &cobra.Command{
		Use: "key FILE", Short: "Make a key pair to sign records with",
		Long: `Make an Ed25519 key pair: FILE is the private key (keep it on this machine),
FILE.pub the public one (give it to reviewers, keep a copy elsewhere).`,
		Example: `  coxswain key /etc/coxswain.key
  coxswain sign DIR --sign-key /etc/coxswain.key
  coxswain verify DIR --key /etc/coxswain.key.pub`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := record.WriteKeys(args[0]); err != nil {
				return err
			}
			_, err := fmt.Fprintf(cmd.OutOrStdout(), "private key %s, public key %s.pub\n", args[0], args[0])
			return err
		},
	}
}

func newSign(c *config.Config) *cobra.Command {
	var all bool
	cmd := &cobra.Command{
		Use: "sign [DIR...]", Short: "Sign finished records, so that any change shows",
		Long: `Sign finished records with --sign-key: hashes of the journal and of the audio go
into DIR/signature.json. Amendments may be appended later; they count as unsigned
until the record is signed again, unless they were made with --sign-key. Naming a
signed record signs it again, amendments included: look at them first.
Without --sign-key nothing is signed, which is an error unless --all is given.`,
		Example: `  coxswain sign records/2026-03-01T140000 --sign-key /etc/coxswain.key
  coxswain sign --all --sign-key /etc/coxswain.key`,
		RunE: func(cmd *cobra.Command, args []string) error {
			if c.SignKey == "" && !all {
				return fmt.Errorf("nothing is signed without a key: make one with `coxswain key FILE`, then add --sign-key FILE")
			} else if c.SignKey == "" { // a site without a key runs this every night all the same
				fmt.Fprintln(cmd.ErrOrStderr(), "nothing is signed: no --sign-key is set; `coxswain key FILE` makes one")
				return nil
			}
			key, err := record.PrivateKey(c.SignKey)
			if err != nil {
				return err
			}
			if all {
				found, err := record.Dirs(c.Folder)
				if err != nil {
					return err
				}
				for _, dir := range found {
					if !record.Signed(dir) {
						args = append(args, dir)
					}
				}
			}
			for _, dir := range args {
				r, err := record.Open(dir)
				if err == nil {
					err = r.Sign(key)
				}
				if err != nil && !all {
					return err
				} else if err != nil { // an unfinished record is resumed or mended first
					fmt.Fprintln(cmd.ErrOrStderr(), "coxswain: not signed:", record.Printable(err.Error()))
					continue
				}
				fmt.Fprintln(cmd.OutOrStdout(), record.Printable(dir)+": signed")
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&all, "all", false, "every finished record under --records that has no signature yet")
	return cmd
}

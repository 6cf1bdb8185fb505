package main

import (
	"encoding/json"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
)

func newCollect(c *config.Config) *cobra.Command {
	var identity string
	var keys []string
	var create, asJSON, again bool
	var replicas, days int
	cmd := &cobra.Command{
		Use: "collect --store URL --identity KEY", Short: "Fetch the records of all rooms from the hospital's store",
		Long: `Fetch what rooms have sent to --store since the last time into --records, for a
reviewer: each record is decrypted with the site's secret key, its chain and sound are
verified and, with --key, its signature; then it lies in NAME_ROOM, and the table
records.parquet there is brought up to date. What does not hold is not taken, told,
and tried again the next time; after five times it is set aside, and only counted
(--again tries it once more). Run twice, it changes nothing.
With --create the stream and the object store are made first, once, by an account
that may; rooms only need to publish to them.`,
		Example: `  coxswain collect --create --replicas 3 --keep-days 365 --store nats://admin@store.example:4222
  coxswain collect --store tls://store.example:4222 --store-creds reviewer.creds \
      --identity site.key --key room-1.pub --key room-2.pub --records /srv/records`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			r := rigOf(c, cmd)
			if create {
				keep := time.Duration(days) * 24 * time.Hour
				if err := r.Store().Create(cmd.Context(), replicas, keep); err != nil || identity == "" {
					return err
				}
			}
			fetch, err := r.Collector(identity, keys)
			if err != nil {
				return err
			}
			fetch.Again = again
			fetch.Parquet = filepath.Join(c.Folder, "records.parquet")
			done, err := fetch.Run(cmd.Context())
			if asJSON {
				json.NewEncoder(cmd.OutOrStdout()).Encode(done)
			} else {
				done.Print(cmd.OutOrStdout())
			}
			if err == nil && len(done.Refused) > 0 {
				return errQuiet
			}
			return err
		},
	}
	f := cmd.Flags()
	f.StringVar(&identity, "identity", "", "`FILE` with the site's age secret key")
	f.StringSliceVar(&keys, "key", nil, "`FILES` of the public keys that rooms sign with (none: not checked)")
	f.BoolVar(&create, "create", false, "make the stream and the object store first")
	f.IntVar(&replicas, "replicas", 3, "with --create: how many servers hold each record")
	f.IntVar(&days, "keep-days", 0, "with --create: after how many days the store forgets a record (0: never)")
	f.BoolVar(&again, "again", false, "try letters that were set aside once more")
	f.BoolVar(&asJSON, "json", false, "as JSON")
	return cmd
}

package main

import (
	"encoding/json"

	"coxswain/cmd/coxswain/paper"

	"github.com/spf13/cobra"
)

func newVerify() *cobra.Command {
	var keyFiles []string
	var noted string
	var asJSON bool
	cmd := &cobra.Command{
		Use: "verify DIR", Short: "Check that a record is whole and unchanged",
		Long: `Check a record, and print its fingerprint.

Without --key it is proved that the parts of the record belong together: each
line of the journal, the last too, is as it was written and follows the one
before it; every sample of the sound is the one that the journal has a hash of,
so that silenced, swapped, cut and added sound shows; the session came to its
end, and behind it stand only amendments with initials and a reason. It is not
proved who wrote it: whoever writes the whole journal anew, with hashes of other
sound, passes.

With --key it is proved as well that the record was signed with that key and is,
up to there, what was signed. Amendments that came later are named: as signed, if
they carry a signature of that key or of another --key, else as unsigned, until
the record is signed again. Whoever has the private key can sign anything.

With --noted FINGERPRINT it is proved that the record is what it was when that
fingerprint was printed, and what came later is named. That holds against the
owner of the key too, if the fingerprint was kept elsewhere: on paper, or in a
time stamp of a third party (RFC 3161), such as
  openssl ts -query -digest FINGERPRINT -sha256 -cert -out record.tsq`,
		Args: cobra.ExactArgs(1), Example: `  coxswain verify records/2026-03-01T140000
  coxswain verify DIR --key /etc/coxswain.key.pub   # the signature too
  coxswain verify DIR --noted 4f0c...               # what was printed on the report
  coxswain verify DIR --json`,
		RunE: func(cmd *cobra.Command, args []string) error {
			v, err := paper.Verify(args[0], keyFiles, noted)
			if err != nil {
				return err
			}
			if asJSON {
				return json.NewEncoder(cmd.OutOrStdout()).Encode(v)
			}
			return v.Print(cmd.OutOrStdout(), args[0])
		},
	}
	cmd.Flags().
		StringSliceVar(&keyFiles, "key", nil, "public key that the record was signed with; further ones for its amendments")
	cmd.Flags().StringVar(&noted, "noted", "", "fingerprint that was noted earlier")
	cmd.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return cmd
}

package main

import (
	"crypto/ed25519"
	"encoding/json"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/timeline"
	"coxswain/timeline/record"
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
			v, err := verify(args[0], keyFiles, noted)
			if err != nil {
				return err
			}
			if asJSON {
				return json.NewEncoder(cmd.OutOrStdout()).Encode(v)
			}
			return v.print(cmd.OutOrStdout(), args[0])
		},
	}
	cmd.Flags().
		StringSliceVar(&keyFiles, "key", nil, "public key that the record was signed with; further ones for its amendments")
	cmd.Flags().StringVar(&noted, "noted", "", "fingerprint that was noted earlier")
	cmd.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return cmd
}

// verified is what was found of a whole record.
type verified struct {
	Events      int      `json:"events"`
	Seconds     float64  `json:"seconds"`
	Hashed      float64  `json:"hashed_seconds"` // of the sound, in the journal
	Late        float64  `json:"late_seconds"`   // of these, hashed only after a cut
	Amendments  int      `json:"amendments"`
	Fingerprint string   `json:"fingerprint"`
	AtEnd       string   `json:"fingerprint_at_end"` // of the session, before any amendment
	Signed      bool     `json:"signed"`             // checked, with a key
	Unsigned    []string `json:"unsigned,omitempty"` // amendments behind the signature
	Later       []string `json:"since_noted,omitempty"`
	Unknown     []string `json:"unknown_fields,omitempty"` // of a newer format
}

func verify(dir string, keyFiles []string, noted string) (v verified, err error) {
	r, err := record.Open(dir)
	if err != nil {
		return v, err
	}
	p, err := r.Verify()
	if err != nil {
		return v, err
	}
	v = verified{
		Events:      len(r.Events),
		Seconds:     timeline.Time(p.Samples).Seconds(),
		Hashed:      timeline.Time(p.Hashed).Seconds(),
		Late:        timeline.Time(p.Late).Seconds(),
		Amendments:  p.Amendments,
		Fingerprint: p.Fingerprint,
		AtEnd:       p.Closed,
		Unknown:     r.Unknown,
	}
	var keys []ed25519.PublicKey
	for _, f := range keyFiles {
		k, err := record.PublicKey(f)
		if err != nil {
			return v, err
		}
		keys = append(keys, k)
	}
	if len(keys) > 0 {
		unsigned, err := r.CheckSignature(keys...)
		if err != nil {
			return v, err
		}
		v.Signed, v.Unsigned = true, described(unsigned)
	}
	if noted != "" {
		later, ok := r.Since(strings.ToLower(noted))
		if !ok {
			return v, fmt.Errorf(
				"%s: never had the fingerprint %.16s...: it was written anew, or is another record",
				dir,
				record.Printable(noted),
			)
		}
		v.Later = described(later)
	}
	return v, nil
}

// described are events, each with its number and who stands for it.
func described(events []timeline.Event) []string {
	var out []string
	for _, e := range events {
		s := fmt.Sprintf("#%d %s", e.Seq, e.Describe())
		if e.Amend != nil {
			s += fmt.Sprintf(", by %s: %s", e.Amend.By, e.Amend.Reason)
		}
		out = append(out, s)
	}
	return out
}

func (v verified) print(w io.Writer, dir string) error {
	fmt.Fprintf(
		w,
		"%s: whole: %d events in an unbroken chain, %v of audio",
		dir,
		v.Events,
		audio.Duration(int64(timeline.Seconds(v.Seconds))),
	)
	if v.Hashed < v.Seconds {
		fmt.Fprintf(w, " (not in the chain: the record is of an older format)")
	}
	if v.Late > 0 {
		fmt.Fprintf(w, " (%v of it hashed only after a cut)", audio.Duration(int64(timeline.Seconds(v.Late))))
	}
	if v.Signed {
		fmt.Fprintf(w, ", signature holds")
	}
	fmt.Fprintf(w, "\nfingerprint %s\n", v.Fingerprint)
	if v.Amendments > 0 {
		fmt.Fprintf(w, "%d amendments; fingerprint before them %s\n", v.Amendments, v.AtEnd)
	}
	for _, s := range v.Unsigned {
		fmt.Fprintf(w, "unsigned: %s\n", s)
	}
	for _, s := range v.Later {
		fmt.Fprintf(w, "since then: %s\n", s)
	}
	if len(v.Unknown) > 0 {
		fmt.Fprintf(w, "written by a newer version; not understood, and kept: %s\n", strings.Join(v.Unknown, ", "))
	}
	return nil
}

package paper

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strings"

	"coxswain/audio"
	"coxswain/timeline"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// Verified is what was found of a whole record.
type Verified struct {
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

// Verify checks a record, with public keys and a fingerprint that was noted, if
// there are any.
func Verify(dir string, keyFiles []string, noted string) (v Verified, err error) {
	r, err := record.Open(dir)
	if err != nil {
		return v, err
	}
	p, err := r.Verify()
	if err != nil {
		return v, err
	}
	v = Verified{
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
		v.Signed, v.Unsigned = true, described(r.Events, unsigned)
	}
	if noted != "" {
		if b, err := hex.DecodeString(noted); err != nil || len(b) != sha256.Size {
			return v, fmt.Errorf("%q is no fingerprint: %d digits and letters from a to f, as verify prints them",
				record.Printable(noted), 2*sha256.Size)
		}
		later, ok := r.Since(strings.ToLower(noted))
		if !ok {
			return v, fmt.Errorf(
				"%s: never had the fingerprint %.16s...: it was written anew, or is another record",
				dir,
				record.Printable(noted),
			)
		}
		v.Later = described(r.Events, later)
	}
	return v, nil
}

// described are some of all events, each with its number and who stands for it; what took back an
// earlier one names that.
func described(all, some []timeline.Event) []string {
	var out []string
	for _, r := range review.Rows(all) {
		if slices.ContainsFunc(some, func(e timeline.Event) bool { return e.Seq == r.Seq }) {
			out = append(out, fmt.Sprintf("#%d %s", r.Seq, told(r)))
		}
	}
	return out
}

// Print says it in lines.
func (v Verified) Print(w io.Writer, dir string) error {
	fmt.Fprintf(
		w,
		"%s: whole: %d events in an unbroken chain, %v of audio",
		record.Printable(dir),
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
		fmt.Fprintf(w, "amendments: %d; fingerprint before them %s\n", v.Amendments, v.AtEnd)
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

package record

import (
	"crypto/ed25519"
	"fmt"
	"time"

	"coxswain/timeline"
)

// Amend appends a reviewer's change to the journal of a finished record, signed
// if there is a key. The bounds are those of timeline.Amend, and of allowed.
func Amend(dir string, change timeline.Change, allowed timeline.Allowed, now time.Time, key ed25519.PrivateKey) error {
	r, err := Open(dir)
	if err != nil {
		return err
	}
	if !r.Closed() { // nothing is mended by the way
		return fmt.Errorf("the session is not finished: end it, or finish the record with `coxswain mend %s`", dir)
	}
	j, r, err := reopen(dir, r)
	if err != nil {
		return err
	}
	defer j.Close()
	change.Wall = now.Format(time.RFC3339)
	add, err := timeline.Amend(r.Events, change, timeline.End(r.Events), allowed)
	if err != nil {
		return err
	}
	for _, e := range add {
		if _, err := j.append(e, signer(key)); err != nil {
			return err
		}
	}
	return nil
}

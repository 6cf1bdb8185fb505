package outbox

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"time"

	"filippo.io/age"

	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// parcel is a finished record on its way.
type parcel struct {
	id, room string
	dir      string
	files    string    // how they looked when it had this id
	at       time.Time // when it was finished
}

// letter announces a record in the stream.
type letter struct {
	Room        string          `json:"room"`
	Name        string          `json:"name"` // of the record
	ID          string          `json:"id"`   // of the object
	Fingerprint string          `json:"fingerprint"`
	Signature   []byte          `json:"signature,omitempty"` // of the record; none: it has none
	Record      json.RawMessage `json:"record,omitempty"`    // the json export; not if it is too large for a message
}

var (
	roomForm = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,31}$`)
	nameForm = regexp.MustCompile(`^\d{4}-\d\d-\d\dT\d{6}(-\d{1,4})?$`)
	idForm   = regexp.MustCompile(`^[0-9a-f]{40}$`)
)

// idOf is the id of a record as it stands: of its journal, which speaks for the
// sound, and of its signature, if it has one.
func idOf(r *record.Record) (string, error) {
	signature, err := signatureOf(r)
	return idFrom(r.Fingerprint(), signature), err
}

func idFrom(fingerprint string, signature []byte) string {
	h := sha256.New()
	fmt.Fprintln(h, fingerprint)
	h.Write(signature)
	return hex.EncodeToString(h.Sum(nil))[:40]
}

// signatureOf is a record's signature, or nil.
func signatureOf(r *record.Record) ([]byte, error) {
	b, err := record.ReadSignature(r.Dir)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	return b, err
}

// nameOf is what a record is called in the store: by its folder, if that is named as a
// session names it, or else by when it began.
func nameOf(r *record.Record) (string, error) {
	if name := filepath.Base(r.Dir); nameForm.MatchString(name) {
		return name, nil
	}
	if r.Wall().IsZero() {
		return "", errors.New("neither its folder nor its journal tell when it began")
	}
	return r.Wall().Format("2006-01-02T150405"), nil
}

// reader is the sealed record, made while it is read. It must be closed.
func (p parcel) reader(keys []age.Recipient) io.ReadCloser {
	out, in := io.Pipe()
	go func() { in.CloseWithError(record.SealTo(in, p.dir, keys)) }()
	return out
}

// letter is the sealed letter, of most bytes at most.
func (p parcel) letter(r *record.Record, keys []age.Recipient, defs []figures.Definition, most int) ([]byte, error) {
	name, err := nameOf(r)
	if err != nil {
		return nil, err
	}
	signature, err := signatureOf(r)
	if err != nil {
		return nil, err
	}
	l := letter{Room: p.room, Name: name, ID: p.id, Fingerprint: r.Fingerprint(), Signature: signature}
	whole := review.Of(r.Events, defs)
	whole.Name = r.Name()
	var b bytes.Buffer
	export := review.Formats[slices.IndexFunc(review.Formats, func(f review.Format) bool { return f.Name == "json" })]
	if err := export.Write(whole, &b); err != nil {
		return nil, err
	}
	l.Record = b.Bytes()
	out, err := sealLetter(l, keys)
	if err == nil && len(out) > most { // the object holds it all
		l.Record = nil
		out, err = sealLetter(l, keys)
	}
	return out, err
}

func sealLetter(l letter, keys []age.Recipient) ([]byte, error) {
	var b bytes.Buffer
	sealed, err := age.Encrypt(&b, keys...)
	if err != nil {
		return nil, err
	}
	z := gzip.NewWriter(sealed)
	err = errors.Join(json.NewEncoder(z).Encode(l), z.Close(), sealed.Close())
	return b.Bytes(), err
}

// mostOfLetter bounds a letter that is read: it may be made by anyone who knows the
// site's public key.
const mostOfLetter = 16 << 20

// openLetter reads a letter and holds it to the subject that it came on.
func openLetter(b []byte, ids []age.Identity, room, id string) (l letter, err error) {
	plain, err := age.Decrypt(bytes.NewReader(b), ids...)
	if err != nil {
		return l, err
	}
	z, err := gzip.NewReader(plain)
	if err != nil {
		return l, err
	}
	d := json.NewDecoder(io.LimitReader(z, mostOfLetter))
	if err := d.Decode(&l); err != nil {
		return l, fmt.Errorf("not a letter of coxswain: %w", err)
	}
	formed := roomForm.MatchString(room) && idForm.MatchString(id) && nameForm.MatchString(l.Name)
	if !formed || l.Room != room || l.ID != id {
		return l, errors.New("not a letter of coxswain: it contradicts its subject")
	}
	return l, nil
}

package record

import (
	"crypto/ed25519"
	"crypto/sha256"
	"crypto/x509"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"encoding/pem"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"

	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// SignatureName is the file in a record's folder that Sign makes.
const SignatureName = "signature.json"

// signature says what a finished record was. The journal may grow by
// amendments afterwards: its first Size bytes are what was signed.
type signature struct {
	Signed    []byte `json:"signed"`    // the JSON of a manifest
	Signature string `json:"signature"` // Ed25519 (RFC 8032) over Signed, base64
	Key       string `json:"key"`       // names the public key: see KeyName
}

type manifest struct {
	Files []FileHash `json:"files"`
}

// FileHash is a file of a record, or its first Size bytes.
type FileHash struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"` // in hex
}

// KeyName is the first half of the SHA-256 of a public key, in hex: enough to
// tell keys apart.
func KeyName(k ed25519.PublicKey) string {
	h := sha256.Sum256(k)
	return hex.EncodeToString(h[:8])
}

// NewKey returns a new key pair, private (PKCS 8) and public (PKIX), in PEM.
func NewKey() (private, public []byte, err error) {
	pub, priv, err := ed25519.GenerateKey(nil)
	if err != nil {
		return nil, nil, err
	}
	a, err := x509.MarshalPKCS8PrivateKey(priv)
	if err != nil {
		return nil, nil, err
	}
	b, err := x509.MarshalPKIXPublicKey(pub)
	if err != nil {
		return nil, nil, err
	}
	return pem.EncodeToMemory(
			&pem.Block{Type: "PRIVATE KEY", Bytes: a},
		), pem.EncodeToMemory(
			&pem.Block{Type: "PUBLIC KEY", Bytes: b},
		), nil
}

// WriteKeys writes a new key pair to files that must not exist yet: the private key
// to path, the public one to path.pub.
func WriteKeys(path string) error {
	private, public, err := NewKey()
	if err != nil {
		return err
	}
	if err := writeNew(path, private); err != nil {
		return err
	}
	return writeNew(path+".pub", public)
}

// writeNew writes a file that must not exist yet, for its owner only.
func writeNew(path string, b []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(b)
	return errors.Join(err, f.Close())
}

// PrivateKey reads the private key in a PEM file.
func PrivateKey(path string) (ed25519.PrivateKey, error) {
	return readKey[ed25519.PrivateKey](path, x509.ParsePKCS8PrivateKey)
}

// PublicKey reads the public key in a PEM file.
func PublicKey(path string) (ed25519.PublicKey, error) {
	return readKey[ed25519.PublicKey](path, x509.ParsePKIXPublicKey)
}

func readKey[K any](path string, parse func([]byte) (any, error)) (K, error) {
	var none K
	b, err := recorder.ReadNamed(path, maxLine)
	if err != nil {
		return none, err
	}
	key, err := parseKey[K](b, parse)
	if err != nil {
		return none, fmt.Errorf("%s: %w", path, err)
	}
	return key, nil
}

func parseKey[K any](b []byte, parse func([]byte) (any, error)) (K, error) {
	var none K
	p, _ := pem.Decode(b)
	if p == nil {
		return none, errors.New("not a PEM key: make one with `coxswain key FILE`")
	}
	k, err := parse(p.Bytes)
	if err != nil {
		return none, err
	}
	key, ok := k.(K)
	if !ok {
		return none, errors.New("not the Ed25519 key that is needed here")
	}
	return key, nil
}

// Signed reports whether the record has a signature, of whatever worth.
func Signed(dir string) bool {
	_, err := os.Lstat(filepath.Join(dir, SignatureName))
	return err == nil
}

// Sign signs a whole record, amendments included, so that any change shows. A
// signature that is there already must hold with the same key; the new one
// takes its place.
func (r *Record) Sign(key ed25519.PrivateKey) error {
	if _, err := r.Verify(); err != nil {
		return err
	}
	if Signed(r.Dir) {
		if _, err := r.CheckSignature(key.Public().(ed25519.PublicKey)); err != nil {
			return fmt.Errorf("signed already, and that cannot be renewed: %w", err)
		}
	}
	hashes, err := r.Hashes()
	if err != nil {
		return err
	}
	b, err := json.Marshal(manifest{hashes})
	if err != nil {
		return err
	}
	s := signature{
		b,
		base64.StdEncoding.EncodeToString(ed25519.Sign(key, b)),
		KeyName(key.Public().(ed25519.PublicKey)),
	}
	out, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return err
	}
	return WriteFile(filepath.Join(r.Dir, SignatureName), append(out, '\n'))
}

// Hashes are those of the journal and of the files of the sound.
func (r *Record) Hashes() ([]FileHash, error) {
	var out []FileHash
	for _, name := range append([]string{JournalName}, r.Parts()...) {
		size := int64(-1)
		if name == JournalName {
			size = r.size()
		}
		h, err := hashFile(r.Dir, name, size)
		if err != nil {
			return nil, err
		}
		out = append(out, h)
	}
	return out, nil
}

// hashFile hashes the first size bytes of a file; -1: all of it.
func hashFile(dir, name string, size int64) (FileHash, error) {
	f, err := recorder.OpenFile(dir, name, os.O_RDONLY)
	if err != nil {
		return FileHash{}, err
	}
	defer f.Close()
	in := io.Reader(f)
	if size >= 0 {
		in = io.LimitReader(f, size)
	}
	h := sha256.New()
	n, err := io.Copy(h, in)
	return FileHash{name, n, hex.EncodeToString(h.Sum(nil))}, err
}

// CheckSignature holds a record to its signature, made with the first of the
// keys. It returns the amendments that were appended behind it and are signed
// with none of the keys; anything else that was changed or added is an error.
func (r *Record) CheckSignature(keys ...ed25519.PublicKey) (unsigned []timeline.Event, err error) {
	m, err := r.manifest(keys)
	if err != nil {
		return nil, err
	}
	size := int64(-1)
	parts := r.Parts()
	for _, want := range m.Files {
		if want.Name == JournalName {
			size = want.Size
		} else if !slices.Contains(parts, want.Name) {
			return nil, fmt.Errorf("%s: is missing since the record was signed", filepath.Join(r.Dir, want.Name))
		}
		got, err := hashFile(r.Dir, want.Name, want.Size)
		if err != nil {
			return nil, err
		}
		if st, err := os.Lstat(filepath.Join(r.Dir, want.Name)); err != nil || got != want ||
			want.Name != JournalName && st.Size() != want.Size {
			return nil, fmt.Errorf("%s: was changed after it was signed", filepath.Join(r.Dir, want.Name))
		}
		parts = slices.DeleteFunc(parts, func(p string) bool { return p == want.Name })
	}
	if size < 0 || len(parts) > 0 {
		return nil, fmt.Errorf("%s: holds files that its signature does not speak of: %v", r.Dir, parts)
	}
	return r.behind(size, keys)
}

// behind looks at what was appended behind the first size bytes of the journal.
func (r *Record) behind(size int64, keys []ed25519.PublicKey) (unsigned []timeline.Event, err error) {
	before := ""
	for _, n := range r.lines {
		if n.end > size {
			if n.event < 0 {
				return nil, fmt.Errorf("%s: %w: sound was added after the record was signed", r.Dir, ErrBroken)
			}
			e := r.Events[n.event]
			if err := r.checkAmendment(e); err != nil {
				return nil, fmt.Errorf(
					"%s: event %d (%s) was added after the record was signed, but %w",
					r.Dir,
					e.Seq,
					e.Kind,
					err,
				)
			}
			if !signedWith(e, before, keys) {
				unsigned = append(unsigned, e)
			}
		}
		before = n.sum
	}
	return unsigned, nil
}

// manifest reads the signature and checks it.
func (r *Record) manifest(keys []ed25519.PublicKey) (m manifest, err error) {
	b, err := ReadSignature(r.Dir)
	if err != nil {
		return m, err
	}
	if m.Files, err = SignedFiles(b, keys...); err != nil {
		err = fmt.Errorf("%s: %w", filepath.Join(r.Dir, SignatureName), err)
	}
	return m, err
}

// SignedFiles are what a signature, as ReadSignature returns it, says a record holds: an
// error if it was not made with the first of the keys. Whether a record is so is for
// CheckSignature.
func SignedFiles(b []byte, keys ...ed25519.PublicKey) ([]FileHash, error) {
	s, err := parseSignature(b)
	if err != nil {
		return nil, fmt.Errorf("not a signature: %w", err)
	}
	sig, err := base64.StdEncoding.DecodeString(s.Signature)
	if err != nil || len(keys) == 0 || !ed25519.Verify(keys[0], s.Signed, sig) {
		return nil, fmt.Errorf("was not made with this key (it names key %.16q), or was changed", s.Key)
	}
	m, err := parseManifest(s.Signed)
	return m.Files, err
}

// ReadSignature returns the signature of the record in dir as it stands, unchecked;
// an error that wraps os.ErrNotExist if there is none.
func ReadSignature(dir string) ([]byte, error) {
	f, err := recorder.OpenFile(dir, SignatureName, os.O_RDONLY)
	if err != nil {
		return nil, fmt.Errorf("not signed: %w", err)
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, maxLine))
}

func parseSignature(b []byte) (s signature, err error) { return s, json.Unmarshal(b, &s) }

func parseManifest(b []byte) (m manifest, err error) {
	if err := json.Unmarshal(b, &m); err != nil {
		return m, err
	}
	for _, f := range m.Files {
		if !ownName(f.Name) || f.Size < 0 {
			return m, fmt.Errorf("names %q, which is no file of a record", f.Name)
		}
	}
	return m, nil
}

// signer returns what signs an amendment with key; nil without one.
func signer(key ed25519.PrivateKey) func(*timeline.Event, string) error {
	if key == nil {
		return nil
	}
	return func(e *timeline.Event, before string) error {
		a := *e.Amend
		a.Key, a.Signature = KeyName(key.Public().(ed25519.PublicKey)), ""
		e.Amend = &a
		text, err := signedText(*e, before)
		if err != nil {
			return err
		}
		a.Signature = base64.StdEncoding.EncodeToString(ed25519.Sign(key, text))
		return nil
	}
}

// signedText is what the signature of an amendment is over: the sum of the line
// before it, so that it holds in this place of this record only, and the event.
func signedText(e timeline.Event, before string) ([]byte, error) {
	a := *e.Amend
	a.Signature = ""
	e.Amend = &a
	b, err := json.Marshal(e)
	return append([]byte("coxswain amendment\n"+before+"\n"), b...), err
}

// signedWith reports whether an amendment was signed with one of the keys.
func signedWith(e timeline.Event, before string, keys []ed25519.PublicKey) bool {
	if e.Amend == nil || e.Amend.Signature == "" {
		return false
	}
	text, err := signedText(e, before)
	sig, serr := base64.StdEncoding.DecodeString(e.Amend.Signature)
	return errors.Join(err, serr) == nil &&
		slices.ContainsFunc(keys, func(k ed25519.PublicKey) bool { return ed25519.Verify(k, text, sig) })
}

// Unsigned are the numbers of the amendments that stand behind a signature and
// name no key of their own: what a page marks. It proves nothing; CheckSignature
// does.
func (r *Record) Unsigned() map[uint64]bool {
	out := map[uint64]bool{}
	size := int64(-1)
	if b, err := ReadSignature(r.Dir); err == nil {
		s, _ := parseSignature(b)
		m, _ := parseManifest(s.Signed)
		for _, f := range m.Files {
			if f.Name == JournalName {
				size = f.Size
			}
		}
	}
	for _, n := range r.lines {
		if n.event < 0 || size < 0 || n.end <= size {
			continue
		}
		if e := r.Events[n.event]; e.Amend != nil && e.Amend.Signature == "" {
			out[e.Seq] = true
		}
	}
	return out
}

package main

import (
	"crypto/ed25519"
	"crypto/rand"
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
	"strings"

	"github.com/spf13/cobra"

	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/config"
	"coxswain/timeline/record"
)

// signatureName is the file of a signed record.
const signatureName = "signature.json"

// signature says what a finished record was. The journal may grow by
// amendments afterwards: its first Size bytes are what was signed.
type signature struct {
	Signed    []byte `json:"signed"`    // the JSON of a manifest
	Signature string `json:"signature"` // Ed25519 (RFC 8032) over Signed, base64
	Key       string `json:"key"`       // SHA-256 of the public key, to find it
}

type manifest struct {
	Files []fileHash `json:"files"`
}

type fileHash struct {
	Name   string `json:"name"`
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"`
}

func newKey() *cobra.Command {
	return &cobra.Command{
		Use: "key FILE", Short: "Make a key pair to sign records with",
		Long:    "Make an Ed25519 key pair: FILE is the private key (keep it on this machine), FILE.pub the public one (give it to reviewers, keep a copy elsewhere).",
		Example: "  coxswain key /etc/coxswain.key\n  coxswain run --sign-key /etc/coxswain.key\n  coxswain verify DIR --key /etc/coxswain.key.pub",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			pub, priv, err := ed25519.GenerateKey(rand.Reader)
			if err != nil {
				return err
			}
			a, err := x509.MarshalPKCS8PrivateKey(priv)
			if err != nil {
				return err
			}
			b, err := x509.MarshalPKIXPublicKey(pub)
			if err != nil {
				return err
			}
			if err := writeNew(args[0], pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: a})); err != nil {
				return err
			}
			if err := writeNew(args[0]+".pub", pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: b})); err != nil {
				return err
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "private key %s, public key %s.pub\n", args[0], args[0])
			return err
		},
	}
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

// readKey decodes a PEM file of PKCS 8 or PKIX.
func readKey[K any](path string, parse func([]byte) (any, error)) (K, error) {
	var none K
	b, err := os.ReadFile(path)
	if err != nil {
		return none, err
	}
	p, _ := pem.Decode(b)
	if p == nil {
		return none, fmt.Errorf("%s: not a PEM key: make one with `coxswain key FILE`", path)
	}
	k, err := parse(p.Bytes)
	if err != nil {
		return none, fmt.Errorf("%s: %w", path, err)
	}
	key, ok := k.(K)
	if !ok {
		return none, fmt.Errorf("%s: not the Ed25519 key that is needed here", path)
	}
	return key, nil
}

func newSign(c *config.Config) *cobra.Command {
	var all bool
	cmd := &cobra.Command{
		Use: "sign [DIR...]", Short: "Sign finished records, so that any change shows",
		Long: `Sign finished records with --sign-key: hashes of the journal and of the audio go
into DIR/signature.json. Amendments may be appended later without breaking it.
Without --sign-key nothing is done.`,
		Example: "  coxswain sign records/2026-03-01T140000 --sign-key /etc/coxswain.key\n  coxswain sign --all --sign-key /etc/coxswain.key",
		RunE: func(cmd *cobra.Command, args []string) error {
			if all {
				found, err := recordDirs(c.Folder)
				if err != nil {
					return err
				}
				for _, dir := range found {
					if _, err := os.Stat(filepath.Join(dir, signatureName)); os.IsNotExist(err) {
						args = append(args, dir)
					}
				}
			}
			path := c.SignKey
			if path == "" {
				return nil
			}
			key, err := readKey[ed25519.PrivateKey](path, x509.ParsePKCS8PrivateKey)
			if err != nil {
				return err
			}
			for _, dir := range args {
				if err = sign(dir, key); err != nil && !all {
					return err
				} else if err != nil { // an unfinished record is resumed or mended first
					fmt.Fprintln(cmd.ErrOrStderr(), "coxswain: not signed:", err)
					continue
				}
				fmt.Fprintln(cmd.OutOrStdout(), dir+": signed")
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&all, "all", false, "every finished record under --records that has no signature yet")
	return cmd
}

func sign(dir string, key ed25519.PrivateKey) error {
	if _, _, err := verify(dir); err != nil {
		return err
	}
	names, err := filepath.Glob(filepath.Join(dir, "audio-*.wav"))
	if err != nil {
		return err
	}
	var m manifest
	for _, path := range append([]string{filepath.Join(dir, record.JournalName)}, names...) {
		h, err := hashFile(path, -1)
		if err != nil {
			return err
		}
		m.Files = append(m.Files, h)
	}
	b, err := json.Marshal(m)
	if err != nil {
		return err
	}
	s := signature{b, base64.StdEncoding.EncodeToString(ed25519.Sign(key, b)), keyID(key.Public().(ed25519.PublicKey))}
	out, err := json.MarshalIndent(s, "", " ")
	if err != nil {
		return err
	}
	return writeNew(filepath.Join(dir, signatureName), append(out, '\n'))
}

func keyID(k ed25519.PublicKey) string {
	h := sha256.Sum256(k)
	return hex.EncodeToString(h[:8])
}

// hashFile hashes the first size bytes of a file; -1: all of it.
func hashFile(path string, size int64) (fileHash, error) {
	f, err := os.Open(path)
	if err != nil {
		return fileHash{}, err
	}
	defer f.Close()
	r := io.Reader(f)
	if size >= 0 {
		r = io.LimitReader(f, size)
	}
	h := sha256.New()
	n, err := io.Copy(h, r)
	return fileHash{filepath.Base(path), n, hex.EncodeToString(h.Sum(nil))}, err
}

// checkSignature reports how a signed record differs from what was signed.
func checkSignature(dir string, key ed25519.PublicKey) error {
	path := filepath.Join(dir, signatureName)
	b, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("not signed: %w", err)
	}
	var s signature
	if err := json.Unmarshal(b, &s); err != nil {
		return fmt.Errorf("%s: not a signature: %w", path, err)
	}
	sig, err := base64.StdEncoding.DecodeString(s.Signature)
	if err != nil || !ed25519.Verify(key, s.Signed, sig) {
		return fmt.Errorf("%s: was not made with this key (it names key %s, this is %s), or was changed", path, s.Key, keyID(key))
	}
	var m manifest
	if err := json.Unmarshal(s.Signed, &m); err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	known := map[string]bool{}
	for _, want := range m.Files {
		if want.Name != filepath.Base(want.Name) || strings.HasPrefix(want.Name, ".") {
			return fmt.Errorf("%s: names a file outside the record", path)
		}
		known[want.Name] = true
		size := int64(-1)
		if want.Name == record.JournalName {
			size = want.Size
		}
		got, err := hashFile(filepath.Join(dir, want.Name), size)
		if err != nil {
			return err
		}
		if got != want {
			return fmt.Errorf("%s: was changed after it was signed", filepath.Join(dir, want.Name))
		}
	}
	for n := 0; ; n++ {
		if _, err := os.Stat(filepath.Join(dir, recorder.PartName(n))); err != nil {
			return nil
		}
		if !known[recorder.PartName(n)] {
			return fmt.Errorf("%s: was added after the record was signed", recorder.PartName(n))
		}
	}
}

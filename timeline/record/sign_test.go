package record

import (
	"bytes"
	"crypto/ed25519"
	"crypto/x509"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"coxswain/audio/recorder"
	"coxswain/timeline"
)

func keyPair(t testing.TB) (ed25519.PrivateKey, ed25519.PublicKey) {
	t.Helper()
	pub, priv, err := ed25519.GenerateKey(nil)
	if err != nil {
		t.Fatal(err)
	}
	return priv, pub
}

// With a key: every change within what was signed shows; amendments behind it
// are told apart by who signed them; signing again covers them.
func TestSignature(t *testing.T) {
	dir := finished(t, 3)
	room, roomPub := keyPair(t)
	reviewer, reviewerPub := keyPair(t)
	if err := opened(t, dir).Sign(room); err != nil {
		t.Fatal(err)
	}
	change := timeline.Change{Do: "retract", Seq: 3, By: "AB", Reason: "was a question"}
	if err := Amend(dir, change, nil, wall, reviewer); err != nil {
		t.Fatal(err)
	}
	change = timeline.Change{Do: "add", Kind: timeline.AccessIO, At: 48000, By: "CD", Reason: "seen by two"}
	if err := Amend(dir, change, nil, wall, nil); err != nil {
		t.Fatal(err)
	}
	r := opened(t, dir)
	if u, err := r.CheckSignature(roomPub, reviewerPub); err != nil || len(u) != 1 || u[0].Amend.By != "CD" {
		t.Errorf("with both keys: %v %v", u, err)
	}
	if u, err := r.CheckSignature(roomPub); err != nil || len(u) != 2 {
		t.Errorf("with the room's key: %v %v", u, err)
	}
	if m := r.Unsigned(); len(m) != 1 || !m[7] {
		t.Errorf("a page marks %v as unsigned", m)
	}
	if err := r.Sign(reviewer); err == nil {
		t.Error("another key took the place of the room's")
	}
	if err := r.Sign(room); err != nil {
		t.Fatal(err)
	}
	if u, err := opened(t, dir).CheckSignature(roomPub); err != nil || len(u) != 0 ||
		len(opened(t, dir).Unsigned()) != 0 {
		t.Errorf("signed again: %v %v", u, err)
	}
	if _, err := r.CheckSignature(reviewerPub); err == nil {
		t.Error("holds with a key that did not make it")
	}
}

// A signature of an amendment holds in its place only: moved to another record
// or changed, it is none.
func TestSignedAmendmentsAreNotMoved(t *testing.T) {
	key, pub := keyPair(t)
	one, two := finished(t, 3), finished(t, 4)
	for _, dir := range []string{one, two} {
		if err := opened(t, dir).Sign(key); err != nil {
			t.Fatal(err)
		}
	}
	if err := Amend(one, timeline.Change{Do: "retract", Seq: 2, By: "AB", Reason: "x"}, nil, wall, key); err != nil {
		t.Fatal(err)
	}
	stolen := opened(t, one).Events[5]
	for _, change := range []func(*timeline.Event){
		func(*timeline.Event) {}, func(e *timeline.Event) { e.Amend.Reason = "y" }, func(e *timeline.Event) { e.Amend.By = "CD" },
	} {
		e, a := stolen, *stolen.Amend
		e.Amend, e.Seq = &a, 0
		change(&e)
		dir := filepath.Join(t.TempDir(), "copy")
		os.CopyFS(dir, os.DirFS(two))
		j, _, err := reopen(dir, nil)
		if err != nil {
			t.Fatal(err)
		}
		add(t, j, e)
		j.Close()
		if u, err := opened(t, dir).CheckSignature(pub); err != nil || len(u) != 1 {
			t.Errorf("%v %v", u, err)
		}
	}
}

// Every byte of every file, and files lost or added, are under the signature.
func TestSignatureShowsEveryChange(t *testing.T) {
	key, pub := keyPair(t)
	dir := finished(t, 2)
	if err := opened(t, dir).Sign(key); err != nil {
		t.Fatal(err)
	}
	check := func() error {
		r, err := Open(dir)
		if err != nil {
			return err
		}
		_, err = r.CheckSignature(pub)
		return err
	}
	if err := check(); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{JournalName, recorder.PartName(0), SignatureName} {
		path := filepath.Join(dir, name)
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for i := 7; i < len(whole); i += 1 + len(whole)/97 {
			b := bytes.Clone(whole)
			if name == SignatureName { // its layout and the key's name may change
				i = max(i, bytes.Index(b, []byte(`"signed": "`))+11)
				if i > bytes.Index(b, []byte(`"key"`))-8 {
					break
				}
			}
			b[i] ^= 1
			os.WriteFile(path, b, 0o600)
			if err := check(); err == nil {
				t.Errorf("byte %d of %s was changed and nothing shows", i, name)
			}
		}
		os.WriteFile(path, whole, 0o600)
	}
	os.WriteFile(filepath.Join(dir, recorder.PartName(1)), nil, 0o600)
	if check() == nil {
		t.Error("a part was added and nothing shows")
	}
	os.Remove(filepath.Join(dir, recorder.PartName(1)))
	os.Remove(filepath.Join(dir, recorder.PartName(0)))
	if check() == nil {
		t.Error("a part was lost and nothing shows")
	}
}

// The bounds of an amendment are the same however it comes.
func TestAmendBounds(t *testing.T) {
	dir := finished(t, 3)
	good := timeline.Change{Do: "add", Kind: timeline.AccessIO, At: 48000, By: "AB", Reason: "seen"}
	for name, c := range map[string]func(*timeline.Change){
		"initials too long":   func(c *timeline.Change) { c.By = "ABCDEFGHI" },
		"initials that steer": func(c *timeline.Change) { c.By = "A\x1b[2J" },
		"no reason":           func(c *timeline.Change) { c.Reason = " \n " },
		"reason that steers":  func(c *timeline.Change) { c.Reason = "a\x07b" },
		"reason turned round": func(c *timeline.Change) { c.Reason = "a\u202eb" },
		"reason of 501":       func(c *timeline.Change) { c.Reason = strings.Repeat("x", 501) },
		"no callout":          func(c *timeline.Change) { c.Kind = timeline.SessionClose },
		"kind that steers":    func(c *timeline.Change) { c.Kind = "drug.\x1b[2J" },
		"kind too long":       func(c *timeline.Change) { c.Kind = timeline.Kind("drug." + strings.Repeat("x", 64)) },
		"outside the record":  func(c *timeline.Change) { c.At = 1 << 40 },
		"before the record":   func(c *timeline.Change) { c.At = -1 },
		"nine numbers": func(c *timeline.Change) {
			c.Values = map[string]float64{}
			for i := range 9 {
				c.Values["n"+strconv.Itoa(i)] = 1
			}
		},
		"a huge number":    func(c *timeline.Change) { c.Values = map[string]float64{"dose_mg": 1e7} },
		"a negative one":   func(c *timeline.Change) { c.Values = map[string]float64{"dose_mg": -1} },
		"a slot of spaces": func(c *timeline.Change) { c.Values = map[string]float64{"a b": 1} },
		"nothing to do":    func(c *timeline.Change) { c.Do = "" },
	} {
		bad := good
		c(&bad)
		if err := Amend(dir, bad, nil, wall, nil); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	if err := Amend(dir, good, nil, wall, nil); err != nil {
		t.Error(err)
	}
	if err := Amend(filepath.Join(t.TempDir(), "none"), good, nil, wall, nil); err == nil {
		t.Error("no record was amended")
	}
}

func FuzzSignature(f *testing.F) {
	f.Add(
		[]byte(`{"signed":"e30=","signature":"AA==","key":"00"}`),
		[]byte(`{"files":[{"name":"events.jsonl","size":3,"sha256":"00"}]}`),
	)
	f.Add([]byte(`{}`), []byte(`{"files":[{"name":"../x","size":-1}]}`))
	f.Fuzz(func(t *testing.T, s, m []byte) {
		parseSignature(s)
		got, err := parseManifest(m)
		for _, file := range got.Files {
			if err == nil && (strings.Contains(file.Name, "/") || file.Size < 0) {
				t.Errorf("%+v was taken", file)
			}
		}
	})
}

// A key file that is none is refused in one line; one that is signs.
func FuzzKey(f *testing.F) {
	private, public, err := NewKey()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(private)
	f.Add(public)
	f.Fuzz(func(t *testing.T, b []byte) {
		if k, err := parseKey[ed25519.PrivateKey](b, x509.ParsePKCS8PrivateKey); err == nil {
			if sig := ed25519.Sign(k, b); !ed25519.Verify(k.Public().(ed25519.PublicKey), b, sig) {
				t.Error("signs nothing")
			}
		}
		if k, err := parseKey[ed25519.PublicKey](b, x509.ParsePKIXPublicKey); err == nil {
			ed25519.Verify(k, b, make([]byte, ed25519.SignatureSize))
		}
	})
}

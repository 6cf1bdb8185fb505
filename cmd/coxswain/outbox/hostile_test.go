package outbox

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/ed25519"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"filippo.io/age"
	"github.com/nats-io/nats-server/v2/server"

	"coxswain/timeline/record"
)

// Whoever knows the site's public key, and may publish, can send anything. None of it
// is taken, none leaves the folder, all of it is told.
func TestHostileLetters(t *testing.T) {
	r := newRoom(t, startCluster(t, 1).created())
	c, err := r.Store.open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	for _, x := range hostile(t, r) {
		b, err := sealLetter(x.letter, r.Keys)
		if err != nil {
			t.Fatal(err)
		}
		if x.object != nil {
			if err := c.put(t.Context(), x.id, bytes.NewReader(x.object)); err != nil {
				t.Fatal(err)
			}
		}
		if err := c.announce(t.Context(), "bay-2", x.id, b); err != nil {
			t.Fatal(err)
		}
	}
	if err := c.announce(t.Context(), "bay-2", strings.Repeat("9", 40), bomb(t, r)); err != nil {
		t.Fatal(err)
	}
	if err := c.announce(t.Context(), "bay-2", strings.Repeat("0", 40), []byte("\x1b[2J not sealed")); err != nil {
		t.Fatal(err)
	}
	for _, keys := range [][]ed25519.PublicKey{{r.signed}, nil} {
		reviewer := r.reviewer()
		reviewer.Keys = keys
		done := collect(t, reviewer)
		if len(done.New)+len(done.Changed) > 0 || len(done.Refused) != 10 {
			t.Errorf("%d of 10 letters are refused: %+v", len(done.Refused), done)
		}
		said := strings.Join(done.Refused, "")
		if strings.ContainsAny(said, "\x1b\n") {
			t.Errorf("it says %q", done.Refused)
		}
		if touched := strings.Count(said, "sealed record") + strings.Count(said, "announced"); keys != nil && touched > 0 {
			t.Errorf("%d records were fetched that no key has signed: %q", touched, done.Refused)
		} else if keys == nil && touched < 4 {
			t.Errorf("%d of 4 records were fetched: %q", touched, done.Refused)
		}
		left, _ := os.ReadDir(reviewer.Folder)
		for _, e := range left {
			if e.Name() != progressName && e.Name() != ".collect.lock" {
				t.Errorf("%s is left", e.Name())
			}
		}
	}
}

// forged is a letter, and the object that it announces.
type forged struct {
	id     string
	letter letter
	object []byte
}

func hostile(t *testing.T, r *room) []forged {
	t.Helper()
	id := func(n string) string { return strings.Repeat(n, 40) }
	dir := r.record(0)
	other := filepath.Join(t.TempDir(), "2026-03-01T150000")
	write(t, other, wall, true)
	alien, err := record.Open(other)
	if err != nil {
		t.Fatal(err)
	}
	seal := func(dir string) []byte {
		var b bytes.Buffer
		if err := record.SealTo(&b, dir, r.Keys); err != nil {
			t.Fatal(err)
		}
		return b.Bytes()
	}
	ours, err := record.Open(dir)
	if err == nil {
		err = ours.Sign(r.signs)
	}
	if err != nil {
		t.Fatal(err)
	}
	signature, _ := record.ReadSignature(dir) // of the room's own, in another's letter
	return []forged{
		{id("a"), letter{Room: "bay-2", Name: "2026-03-01T150000", ID: id("a"), Fingerprint: alien.Fingerprint(),
			Signature: signature}, seal(other)},
		{id("1"), letter{Room: "bay-2", Name: "../../etc/x", ID: id("1")}, nil},
		{id("2"), letter{Room: "bay-3", Name: "2026-03-01T140000", ID: id("2")}, nil},
		{id("3"), letter{Room: "bay-2", Name: "2026-03-01T140000", ID: id("4")}, nil},
		{id("5"), letter{Room: "bay-2", Name: "2026-03-01T140000", ID: id("5")}, nil},                      // no object
		{id("6"), letter{Room: "bay-2", Name: "2026-03-01T140000", ID: id("6")}, []byte("nothing sealed")}, // no archive
		{id("7"), letter{Room: "bay-2", Name: "2026-03-01T140000", ID: id("7")}, seal(dir)},                // another record
		{id("8"), letter{Room: "bay-2", Name: "2026-03-01T150000", ID: id("8"), Fingerprint: alien.Fingerprint()}, seal(other)},
	}
}

// bomb is a letter that opens to far more than it is long.
func bomb(t *testing.T, r *room) []byte {
	t.Helper()
	var b bytes.Buffer
	sealed, err := age.Encrypt(&b, r.Keys...)
	if err != nil {
		t.Fatal(err)
	}
	z := gzip.NewWriter(sealed)
	io.WriteString(z, `{"room":"`)
	spaces := bytes.Repeat([]byte("x"), 1<<20)
	for range mostOfLetter>>20 + 2 {
		z.Write(spaces)
	}
	z.Close()
	sealed.Close()
	return b.Bytes()
}

// Whatever stands in the files of an outbox, they are read without harm.
func FuzzStates(f *testing.F) {
	f.Add([]byte(`{"waiting":3,"oldest_s":7,"failing":"why"}`))
	f.Add([]byte(`{"id":"x","files":"1 2"}`))
	f.Add([]byte(`{"created":"2026-03-01T14:00:00Z","next":18446744073709551615,"missed":[1]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		dir := t.TempDir()
		for _, name := range []string{stateName, sentName, progressName} {
			if err := os.WriteFile(filepath.Join(dir, name), b, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if s := Look(dir, wall); s != nil && strings.ContainsRune(s.Failing, 0x1b) {
			t.Errorf("it says %q", s.Failing)
		}
		readMark(dir)
		if p := (Collector{Folder: dir}).progress(wall); p.Next == 0 {
			t.Error("it would begin before the first letter")
		}
	})
}

// Whatever a letter holds once it is opened, it is held to its subject.
func FuzzLetter(f *testing.F) {
	site, err := age.GenerateX25519Identity()
	if err != nil {
		f.Fatal(err)
	}
	id := strings.Repeat("a", 40)
	good, _ := json.Marshal(letter{Room: "bay-2", Name: "2026-03-01T140000", ID: id})
	f.Add(good)
	f.Add([]byte("{"))
	f.Fuzz(func(t *testing.T, b []byte) {
		var out bytes.Buffer
		sealed, err := age.Encrypt(&out, site.Recipient())
		if err != nil {
			t.Fatal(err)
		}
		z := gzip.NewWriter(sealed)
		z.Write(b)
		z.Close()
		sealed.Close()
		l, err := openLetter(out.Bytes(), []age.Identity{site}, "bay-2", id)
		if err == nil && (l.Room != "bay-2" || l.ID != id || !nameForm.MatchString(l.Name)) {
			t.Errorf("%+v is taken", l)
		}
	})
}

// What a room's account must be allowed, and that is all: DEVELOPERS.md lists it. With
// it a room can neither empty the store nor send as another.
func TestRoomsPermissions(t *testing.T) {
	c := startCluster(t, 1, func(o *server.Options) {
		o.Users = []*server.User{{Username: "admin", Password: "a"}, {Username: "bay-2", Password: "b", Permissions: &server.Permissions{
			Publish: &server.SubjectPermission{Allow: []string{
				"coxswain.record.bay-2.*", "$O.coxswain-sealed.C.*", "$O.coxswain-sealed.M.*",
				"$JS.API.STREAM.INFO.COXSWAIN", "$JS.API.STREAM.INFO.OBJ_coxswain-sealed",
				"$JS.API.DIRECT.GET.COXSWAIN.coxswain.record.bay-2.*", "$JS.API.DIRECT.GET.OBJ_coxswain-sealed.$O.coxswain-sealed.M.*",
			}},
			Subscribe: &server.SubjectPermission{Allow: []string{"_INBOX.>"}},
		}}}
	})
	as := func(who string) Store {
		return Store{URL: strings.Replace(c.url(), "//", "//"+who+"@", 1), Patience: 500 * time.Millisecond}
	}
	if err := as("admin:a").Create(t.Context(), 1, 0); err != nil {
		t.Fatal(err)
	}
	r := newRoom(t, as("bay-2:b"))
	r.record(0)
	if err := r.pass(); err != nil {
		t.Fatal(err)
	}
	other := *r.Outbox
	other.Room, other.Folders, other.seen = "bay-3", []string{t.TempDir()}, nil
	write(t, filepath.Join(other.Folders[0], "2026-03-01T150000"), wall.Add(time.Hour), true)
	if err := other.Pass(t.Context(), true); err == nil {
		t.Error("bay-2 sends as bay-3")
	}
	s, err := r.Store.open(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for _, name := range []string{Stream, "OBJ_" + Bucket} {
		stream, err := s.js.Stream(t.Context(), name)
		if err != nil {
			t.Fatal(err)
		}
		short, cancel := context.WithTimeout(t.Context(), 500*time.Millisecond)
		if err := stream.Purge(short); err == nil {
			t.Errorf("a room empties %s", name)
		}
		cancel()
	}
	r.Store = as("admin:a")
	arrived(t, r, 1)
}

package outbox

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"filippo.io/age"
	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// Collector fetches the records of all rooms from the store into a folder.
type Collector struct {
	Store   Store
	Folder  string              // of records: NAME_ROOM each
	IDs     []age.Identity      // the site's secret keys
	Keys    []ed25519.PublicKey // of which one must have signed each record; none: signatures are not checked
	Parquet string              // table of all records in the folder, kept up to date; empty: none
	Figures []figures.Definition
	Again   bool // tries letters that were set aside once more
}

// Collected is what a run of a Collector did.
type Collected struct {
	New     []string `json:"new"`     // records that came
	Changed []string `json:"changed"` // records that were here, and were amended or signed since
	Known   int      `json:"known"`   // letters that told nothing new
	Refused []string `json:"refused"` // what was not taken, and why; it is tried again next time
	Aside   int      `json:"aside"`   // letters that were not taken so often that they are not tried again
}

// progress is how far a folder has come: it lies in it, so that a new folder gets
// everything.
type progress struct {
	Created time.Time `json:"created"` // of the stream: another one begins anew
	Next    uint64    `json:"next"`    // letter to go on with
	// Missed are the letters before it that could not be taken, and how often each was
	// tried; one that was tried mostTries times is set aside: it must not cost time and a
	// line each night for ever.
	Missed map[uint64]int `json:"missed"`
}

// mostTries is how often a letter is tried: as many nights.
const mostTries = 5

const (
	progressName = ".collected.json" // in the folder of records
	fromName     = ".from"           // in a record's folder: the ids that it came under
)

// Run fetches what is new. The error says why the store could not be read to its
// end; what single letters lack is in Refused.
func (c Collector) Run(ctx context.Context) (done Collected, err error) {
	unlock, err := record.Lock(c.Folder, ".collect.lock")
	if err != nil {
		return done, err
	}
	defer unlock()
	cut, _ := filepath.Glob(filepath.Join(c.Folder, ".incoming-*")) // of a run that was cut off
	for _, dir := range cut {
		os.RemoveAll(dir)
	}
	if err := settleAll(c.Folder); err != nil {
		return done, err
	}
	s, err := c.Store.open(ctx)
	if err != nil {
		return done, err
	}
	defer s.Close()
	look, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	stream, err := s.js.Stream(look, Stream)
	if err != nil {
		return done, fmt.Errorf("stream %s: %w", Stream, err)
	}
	objects, err := s.js.ObjectStore(look, Bucket)
	if err != nil {
		return done, fmt.Errorf("object store %s: %w", Bucket, err)
	}
	p := c.progress(stream.CachedInfo().Created)
	run := fetch{Collector: c, s: s, objects: objects, known: c.known(), done: &done}
	err = run.letters(ctx, stream, &p)
	perr := c.table(len(done.New)+len(done.Changed) > 0)
	b, jerr := json.Marshal(p)
	if jerr == nil {
		jerr = writeIfNew(filepath.Join(c.Folder, progressName), b)
	}
	return done, errors.Join(err, perr, jerr)
}

func (c Collector) progress(created time.Time) progress {
	p := progress{Created: created, Next: 1, Missed: map[uint64]int{}}
	b, err := readSmall(c.Folder, progressName)
	var had progress
	if err == nil && json.Unmarshal(b, &had) == nil && had.Created.Equal(created) && had.Next > 0 &&
		had.Missed != nil { // one of an earlier form, or damaged: all letters are looked at again
		p = had
	}
	return p
}

// known are the folders of the records that came, by id.
func (c Collector) known() map[string]string {
	out := map[string]string{}
	dirs, _ := record.Dirs(c.Folder)
	for _, dir := range dirs {
		if b, err := readSmall(dir, fromName); err == nil {
			for _, id := range strings.Fields(string(b)) {
				out[id] = dir
			}
		}
	}
	return out
}

// table writes the Parquet table anew if there are new records, or it is not there.
func (c Collector) table(changed bool) error {
	if _, err := os.Lstat(c.Parquet); c.Parquet == "" || err == nil && !changed {
		return nil
	}
	list, _, err := review.LoadAll(c.Folder, c.Figures)
	if err != nil {
		if dirs, _ := record.Dirs(c.Folder); len(dirs) == 0 {
			return nil // nothing came yet
		}
		return err
	}
	var b bytes.Buffer
	if err := review.WriteParquet(&b, list); err != nil {
		return err
	}
	return writeIfNew(c.Parquet, b.Bytes())
}

// writeIfNew leaves a file alone that says so already.
func writeIfNew(path string, b []byte) error {
	if old, err := os.ReadFile(path); err == nil && bytes.Equal(old, b) {
		return nil
	}
	return record.WriteFile(path, b)
}

// fetch is one run.
type fetch struct {
	Collector
	s       *session
	objects jetstream.ObjectStore
	known   map[string]string
	done    *Collected
}

// letters takes the letters that were missed, and then those that have come.
func (f *fetch) letters(ctx context.Context, stream jetstream.Stream, p *progress) error {
	take := func(seq uint64) error {
		n := p.Missed[seq]
		if n >= mostTries && !f.Again {
			f.done.Aside++
			return nil
		}
		err := f.letter(ctx, stream, seq)
		if errors.Is(err, errStore) {
			return err
		}
		if delete(p.Missed, seq); err != nil {
			f.done.Refused = append(f.done.Refused, fmt.Sprintf("letter %d: %s", seq, record.Printable(err.Error())))
			if !lacks(err) {
				n = min(n+1, mostTries)
			}
			p.Missed[seq] = n
		}
		return nil
	}
	for _, seq := range slices.Sorted(maps.Keys(p.Missed)) {
		if err := take(seq); err != nil {
			return err
		}
	}
	last := stream.CachedInfo().State.LastSeq
	for p.Next = max(p.Next, stream.CachedInfo().State.FirstSeq); p.Next <= last; p.Next++ {
		if err := take(p.Next); err != nil {
			return err
		}
	}
	return nil
}

// errStore marks that the store could not be asked, which says nothing of a letter.
var errStore = errors.New("the store does not answer")

// letter takes one letter, and the record that it announces.
func (f *fetch) letter(ctx context.Context, stream jetstream.Stream, seq uint64) error {
	ask, cancel := context.WithTimeout(ctx, f.s.patience)
	defer cancel()
	m, err := stream.GetMsg(ask, seq)
	switch {
	case errors.Is(err, jetstream.ErrMsgNotFound):
		return nil // the store has forgotten it
	case err != nil:
		return fmt.Errorf("%w: %w", errStore, err)
	}
	room, id, ok := strings.Cut(strings.TrimPrefix(m.Subject, subject), ".")
	if _, here := f.known[id]; here && ok {
		f.done.Known++
		return nil
	}
	l, err := openLetter(m.Data, f.IDs, room, id)
	if err != nil {
		return fmt.Errorf("of room %s: %w", room, err)
	}
	if err = f.vouched(l); err == nil {
		err = f.record(ctx, l)
	}
	if err != nil {
		return fmt.Errorf("%s of room %s: %w", l.Name, l.Room, err)
	}
	return nil
}

// vouched reports whether one of the keys has signed the record that a letter announces,
// before anything of it is fetched and unpacked.
func (f *fetch) vouched(l letter) (err error) {
	if len(f.Keys) == 0 {
		return nil
	}
	if len(l.Signature) == 0 {
		return errors.New("it is not signed: set sign_key in its room")
	}
	if idFrom(l.Fingerprint, l.Signature) != l.ID {
		return errors.New("its signature is another record's")
	}
	for _, k := range f.Keys {
		if _, err = record.SignedFiles(l.Signature, k); err == nil {
			return nil
		}
	}
	return fmt.Errorf("its signature: %w", err)
}

// record fetches the record of a letter into a folder beside the others, holds it to
// the letter, and puts it in its place.
func (f *fetch) record(ctx context.Context, l letter) error {
	ask, cancel := context.WithTimeout(ctx, f.s.patience)
	defer cancel()
	info, err := f.objects.GetInfo(ask, l.ID)
	if errors.Is(err, nats.ErrTimeout) || errors.Is(err, context.DeadlineExceeded) {
		return fmt.Errorf("%w: %w", errStore, err) // a slow store is no reason to set a letter aside
	}
	if err != nil {
		return fmt.Errorf("its sealed record: %w", err)
	}
	if info.Size > mostOfObject {
		return fmt.Errorf("its sealed record: %d bytes are more than any record has", info.Size)
	}
	long, stop := context.WithTimeout(ctx, f.s.patience+time.Duration(info.Size/1e6)*time.Second) // 1 MB/s at least
	defer stop()
	object, err := f.objects.Get(long, l.ID)
	if err != nil {
		return fmt.Errorf("its sealed record: %w", err)
	}
	coming := arriving(object, f.s.patience)
	defer coming.Close()
	tmp, err := os.MkdirTemp(f.Folder, ".incoming-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(tmp)
	dir := filepath.Join(tmp, l.Name+"_"+l.Room)
	if err := record.UnsealFrom(coming, int64(info.Size), f.IDs, dir); err != nil {
		return fmt.Errorf("its sealed record: %w", err)
	}
	r, err := f.check(dir, l)
	if err != nil {
		return err
	}
	return f.place(r, l)
}

// mostOfObject bounds a sealed record: two days of sound.
const mostOfObject = 32 << 30

// errStalled: a part of the object is not there, or the way to it is cut.
var errStalled = errors.New("nothing more of it comes")

// arriving reads what comes, and gives up when nothing does for some time, however much
// did before. The library's own reader waits for all of it, under a lock: it is left to
// itself then.
func arriving(from io.ReadCloser, limit time.Duration) io.ReadCloser {
	out, in := io.Pipe()
	go func() {
		defer from.Close()
		waits := time.AfterFunc(limit, func() { in.CloseWithError(errStalled) })
		defer waits.Stop()
		for buf := make([]byte, chunk); ; waits.Reset(limit) {
			n, err := from.Read(buf)
			waits.Stop()
			if n > 0 {
				if _, werr := in.Write(buf[:n]); werr != nil {
					return
				}
			}
			if err != nil {
				in.CloseWithError(err)
				return
			}
		}
	}()
	return out
}

// check holds what came to the letter, to its own chain and to its signature.
func (f *fetch) check(dir string, l letter) (*record.Record, error) {
	r, err := record.Open(dir)
	if err != nil {
		return nil, err
	}
	if _, err := r.Verify(); err != nil {
		return nil, err
	}
	id, err := idOf(r)
	if err != nil {
		return nil, err
	}
	if id != l.ID || r.Fingerprint() != l.Fingerprint {
		return nil, errors.New("it is not the record that was announced")
	}
	if len(f.Keys) == 0 {
		return r, nil
	}
	for i := range f.Keys {
		keys := slices.Concat(f.Keys[i:], f.Keys[:i]) // the first must be the record's
		if _, err = r.CheckSignature(keys...); err == nil {
			return r, nil
		}
	}
	return nil, err
}

// Print says it in lines.
func (d Collected) Print(w io.Writer) {
	for _, name := range d.New {
		fmt.Fprintln(w, "new:", name)
	}
	for _, name := range d.Changed {
		fmt.Fprintln(w, "changed:", name)
	}
	for _, why := range d.Refused {
		fmt.Fprintln(w, "not taken:", why)
	}
	fmt.Fprintf(w, "%d new, %d changed, %d known, %d not taken\n", len(d.New), len(d.Changed), d.Known, len(d.Refused))
	if d.Aside > 0 {
		fmt.Fprintf(w, "%d set aside after %d tries: collect --again tries them once more\n", d.Aside, mostTries)
	}
}

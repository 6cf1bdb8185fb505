package outbox

import (
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"syscall"
	"time"

	"filippo.io/age"

	"coxswain/timeline/figures"
	"coxswain/timeline/record"
)

// Outbox sends the finished records of a room. It is for one goroutine.
type Outbox struct {
	Folders []string // of records; how it stands is told in the first
	Room    string   // lower-case letters, digits and dashes
	Keys    []age.Recipient
	Sign    ed25519.PrivateKey // signs what is not signed yet; nil: nothing does
	Figures []figures.Definition
	Store   Store
	Every   time.Duration // between looks into the folders; 0: 10 s
	Most    time.Duration // of waiting after a failure; 0: 5 min

	seen    map[string]look // by record's folder: what need not be read again
	fresh   bool            // a record waits that did not at the last look
	trouble error           // what this machine lacks to make a record ready; nil: nothing
	told    string          // the last failure that was logged
	store   string          // names the stream that the store has; empty: not asked yet
	asked   time.Time       // when it was last asked
	lost    error           // what it said; nil: it is there
}

// askEvery is how often the store is asked whether it is still the one that records
// went to, while nothing waits.
const askEvery = time.Hour

// look is what was found of a record while its files were as they were.
type look struct {
	files string
	is    int
	id    string // of one that waits
	at    time.Time
}

const (
	sent       = iota
	waits      // finished, and not in the store
	unfinished // runs, or was cut off
	refused    // is not whole
	practice   // a drill's stays here
	stuck      // this machine lacks what it takes to tell: looked at again each time
)

// Check says what is wrong with an outbox as it was set.
func (o *Outbox) Check() error {
	switch {
	case o.Store.URL == "":
		return errors.New("where to? set store to the address of the hospital's store")
	case !roomForm.MatchString(o.Room):
		return fmt.Errorf("room is %q: want up to 32 lower-case letters, digits and dashes, such as ward-3-bay-2", o.Room)
	case len(o.Keys) == 0:
		return errors.New("nothing leaves unsealed: set store_key to a file with the site's age public key")
	}
	return o.Store.Check()
}

// Run sends what is finished until ctx ends: it looks every few seconds, and after a
// failure waits for longer and longer before it tries the store again.
func (o *Outbox) Run(ctx context.Context) error {
	if err := o.Check(); err != nil {
		return err
	}
	unlock, err := record.Lock(o.Folders[0], lockName)
	if err != nil {
		return err
	}
	defer unlock()
	every, most, wait := orElse(o.Every, 10*time.Second), orElse(o.Most, 5*time.Minute), time.Duration(0)
	for next := time.Now(); ; {
		try := !time.Now().Before(next)
		failing := o.Pass(ctx, try) != nil
		switch {
		case try && failing: // not all rooms at the same moment, when the store is back
			wait = min(max(2*wait, every), most)
			next = time.Now().Add(wait/2 + rand.N(wait/2+1))
		case try || o.fresh: // what has just been finished does not wait for what failed before it
			wait, next = 0, time.Now()
		}
		o.tell(next, failing)
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(every):
		}
	}
}

func orElse(d, other time.Duration) time.Duration {
	if d > 0 {
		return d
	}
	return other
}

// tell writes down when the store is tried again after a failure.
func (o *Outbox) tell(next time.Time, failing bool) {
	if old := Look(o.Folders[0], time.Now()); failing && old != nil {
		old.Next = next
		old.write(o.Folders[0]) // how it stands was written a moment ago: that failing was told
	}
}

// Pass looks once into the folders, and with try sends what waits, oldest first. How
// the outbox stands is written down; the error says why not all is sent.
func (o *Outbox) Pass(ctx context.Context, try bool) (err error) {
	now := time.Now()
	s := State{At: now}
	if old := Look(o.Folders[0], now); !try && old != nil {
		s.Failing, s.Next = old.Failing, old.Next
	}
	waiting := o.waiting(now, &s)
	if try && (len(waiting) > 0 || o.lost != nil || now.Sub(o.asked) >= askEvery) {
		waiting, err = o.send(ctx, now, &s, waiting)
	}
	if err == nil && try {
		err = errors.Join(o.lost, o.trouble)
	}
	if s.Waiting += len(waiting); len(waiting) > 0 {
		s.OldestS = now.Sub(waiting[0].at).Seconds()
	}
	o.note(s, err, try)
	return err
}

// note writes down how the outbox stands after a look that ended with err.
func (o *Outbox) note(s State, err error, tried bool) {
	switch {
	case err != nil:
		s.Failing = err.Error()
	case tried || s.Waiting == 0 && o.lost == nil:
		s.Failing, s.Next = "", time.Time{}
	}
	o.log(s.Failing)
	if err := s.write(o.Folders[0]); err != nil {
		slog.Warn("how the outbox stands cannot be written down", "why", err)
	}
}

// log tells of a failure once.
func (o *Outbox) log(failing string) {
	switch {
	case failing == o.told:
	case failing == "":
		slog.Info("records go to the store again")
	default:
		slog.Warn("records wait", "why", failing)
	}
	o.told = failing
}

// waiting lists the finished records that have yet to go, oldest first.
func (o *Outbox) waiting(now time.Time, s *State) (out []parcel) {
	seen := map[string]look{}
	o.fresh, o.trouble = false, nil
	for _, folder := range o.Folders {
		dirs, _ := record.Dirs(folder)
		for _, dir := range dirs {
			files, at, err := filesOf(dir)
			if err != nil {
				continue
			}
			l, ok := o.seen[dir]
			if !ok || l.files != files {
				l = o.look(dir, files)
				l.at = at
				o.fresh = o.fresh || l.is == waits
			}
			if seen[dir] = l; l.is == stuck {
				delete(seen, dir)
				s.Waiting++
			}
			switch {
			case l.is == waits:
				out = append(out, parcel{l.id, o.Room, dir, l.files, l.at})
			case l.is == sent:
				s.Sent++
			case l.is == refused:
				s.Refused++
			case l.is == unfinished && now.Sub(at) > 15*time.Minute:
				s.Unfinished++
			}
		}
	}
	o.seen = seen
	slices.SortStableFunc(out, func(a, b parcel) int { return a.at.Compare(b.at) })
	return out
}

// look reads a record.
func (o *Outbox) look(dir, files string) look {
	m := readMark(dir)
	here := m.Store == o.store || o.store == "" // the store that has it is the one that there is
	if m.Files == files && here {
		return look{files: files, is: sent}
	}
	r, err := record.Open(dir)
	if lacks(err) {
		return o.stick(dir, files, err)
	}
	if err != nil || !r.Closed() {
		return look{files: files, is: unfinished}
	}
	if r.Events[0].Session.Drill != nil {
		return look{files: files, is: practice}
	}
	id, files, err := o.ready(r, files)
	switch {
	case err != nil:
		return o.refuse(dir, files, err)
	case m.ID == id && here: // only its times are others: it was copied
		return o.mark(dir, id, files)
	}
	return look{files: files, is: waits, id: id}
}

// ready signs a record that is not, and returns its id and how its files look then.
func (o *Outbox) ready(r *record.Record, had string) (id, files string, err error) {
	if files = had; o.Sign != nil && !record.Signed(r.Dir) {
		if err = r.Sign(o.Sign); err == nil {
			files, _, err = filesOf(r.Dir)
		}
	}
	if err == nil {
		_, err = nameOf(r)
	}
	if err == nil {
		id, err = idOf(r)
	}
	return id, files, err
}

// lacks reports whether an error is this machine's, which may pass, and says nothing
// of the record.
func lacks(err error) bool {
	passing := []error{
		syscall.ENOSPC, syscall.EDQUOT, syscall.EIO, syscall.EACCES, syscall.EPERM, syscall.EROFS,
		syscall.EMFILE, syscall.ENFILE, syscall.ENOMEM, syscall.ESTALE, syscall.ETIMEDOUT,
	}
	return slices.ContainsFunc(passing, func(e error) bool { return errors.Is(err, e) })
}

// stick leaves a record for the next look.
func (o *Outbox) stick(dir, files string, err error) look {
	o.trouble = fmt.Errorf("record %s cannot be made ready: %w", filepath.Base(dir), err)
	return look{files: files, is: stuck}
}

// refuse leaves a record that cannot be sent where it is, and says so once.
func (o *Outbox) refuse(dir, files string, err error) look {
	if lacks(err) {
		return o.stick(dir, files, err)
	}
	why := record.Printable(err.Error())
	slog.Error("a record is not whole: it is not sent", "record", filepath.Base(dir), "why", why)
	return look{files: files, is: refused}
}

// mark notes that a record is in the store.
func (o *Outbox) mark(dir, id, files string) look {
	// One that is not marked goes again after the next start, and is there already.
	if err := (mark{id, files, o.store}).write(dir); err != nil {
		slog.Warn("it cannot be noted that a record was sent", "record", filepath.Base(dir), "why", err)
	}
	return look{files: files, is: sent}
}

// mostFailures is how many records may fail in a row before the rest waits for the
// next attempt.
const mostFailures = 3

// send sends parcels; it returns those that have yet to go, and why the first of
// them did not. If the store is another one than what went before, all goes again.
func (o *Outbox) send(ctx context.Context, now time.Time, st *State, parcels []parcel) (left []parcel, err error) {
	s, err := o.Store.open(ctx)
	if o.lost = err; err != nil {
		return parcels, err
	}
	defer s.Close()
	_, name, err := s.stream(ctx)
	if o.asked, o.lost = now, err; err != nil {
		return parcels, err
	}
	if name != o.store {
		o.store, o.seen = name, nil
		*st = State{At: now}
		parcels = o.waiting(now, st)
	}
	had := len(parcels)
	defer func() { st.Sent += had - len(left) }()
	for i, p := range parcels {
		l, perr := o.deliver(ctx, s, p)
		if perr == nil {
			o.seen[p.dir] = l
			continue
		}
		if _, gone := os.Lstat(p.dir); gone != nil { // sealed, moved or deleted meanwhile
			continue
		}
		left = append(left, p)
		if err == nil {
			err = fmt.Errorf("record %s: %w", filepath.Base(p.dir), perr)
		}
		if len(left) == mostFailures || ctx.Err() != nil {
			return append(left, parcels[i+1:]...), err
		}
	}
	return left, err
}

// deliver has the store take one record, once.
func (o *Outbox) deliver(ctx context.Context, s *session, p parcel) (look, error) {
	there, err := s.has(ctx, p.room, p.id)
	if err != nil {
		return look{}, err
	}
	if !there {
		r, err := record.Open(p.dir)
		if err == nil {
			_, err = r.Verify()
		}
		if lacks(err) {
			return look{}, err
		}
		if err != nil {
			return o.refuse(p.dir, p.files, err), nil
		}
		if err := o.put(ctx, s, p, r); err != nil {
			return look{}, err
		}
	}
	return o.mark(p.dir, p.id, p.files), nil
}

func (o *Outbox) put(ctx context.Context, s *session, p parcel, r *record.Record) error {
	letter, err := p.letter(r, o.Keys, o.Figures, int(s.conn.MaxPayload())-1024)
	if err != nil {
		return err
	}
	sealed := p.reader(o.Keys)
	defer sealed.Close()
	if err := s.put(ctx, p.id, sealed); err != nil {
		return err
	}
	// What was read was the record of this id only if it did not change meanwhile.
	if files, _, err := filesOf(p.dir); err != nil || files != p.files {
		return errors.New("it changed while it was sent")
	}
	return s.announce(ctx, p.room, p.id, letter)
}

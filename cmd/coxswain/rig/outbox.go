package rig

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"time"

	"filippo.io/age"

	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/outbox"
	"coxswain/cmd/coxswain/paper"
	"coxswain/timeline/record"
)

// Outbox is what sends this room's finished records, as the configuration says.
func (r Rig) Outbox() (*outbox.Outbox, error) {
	o := &outbox.Outbox{Folders: r.folders(), Room: r.Room(), Store: r.Store()}
	var err error
	if r.StoreKey != "" {
		if o.Keys, err = record.Recipients(r.StoreKey); err != nil {
			return o, fmt.Errorf("store_key: %w", err)
		}
	}
	if r.SignKey != "" {
		if o.Sign, err = record.PrivateKey(r.SignKey); err != nil {
			return o, fmt.Errorf("sign_key: %w", err)
		}
	}
	if o.Figures, err = r.Definitions(); err != nil {
		return o, err
	}
	return o, o.Check()
}

// storeSettings tells what is set wrongly about the store, before records wait that
// never go. A key that is not there is no reason to leave a team alone: that is logged,
// and told by the outbox.
func (r Rig) storeSettings() error {
	if r.Config.Store == "" {
		return nil
	}
	_, err := r.Outbox()
	if missing := (*fs.PathError)(nil); errors.As(err, &missing) {
		slog.Error("records will not go to the store", "why", err)
		return nil
	}
	return err
}

// Store is the hospital's store.
func (r Rig) Store() outbox.Store {
	return outbox.Store{URL: r.Config.Store, Creds: r.StoreCreds, CA: r.StoreCA, Plain: r.StorePlain}
}

// Retain lists the records that began before a moment and, if really, deletes them:
// but none that the store may not have.
func (r Rig) Retain(ctx context.Context, w io.Writer, before time.Time, really bool) error {
	keeps := paper.Unsent(r.Folder)
	switch {
	case really && r.Config.Store != "":
		inStore, done, err := r.Store().Holding(ctx, r.Room())
		if err != nil {
			return fmt.Errorf("nothing is deleted that the store may not have: %w", err)
		}
		defer done()
		keeps = inStore
	case really && outbox.Look(r.Folder, time.Now()) != nil:
		return errors.New("records go from here to a store: say --store, so that it can be asked whether it has them")
	}
	return paper.Retain(w, r.Folder, before, really, keeps)
}

// Seal encrypts finished records into archives beside them and, with remove, deletes
// their folders: but none that has yet to go to the store. With all, what cannot be
// sealed stops nothing else.
func (r Rig) Seal(w io.Writer, dirs []string, keys []age.Recipient, all, remove bool) error {
	for _, dir := range dirs {
		err := error(nil)
		if dir = filepath.Clean(dir); remove {
			err = paper.Unsent(filepath.Dir(dir))(dir)
		}
		if err != nil {
			err = fmt.Errorf("%s: %w: it is sealed and removed when it is there", dir, err)
		} else {
			err = record.Seal(dir, keys, remove)
		}
		switch {
		case err != nil && !all:
			return err
		case err != nil:
			fmt.Fprintln(r.Stderr, "coxswain: not sealed:", record.Printable(err.Error()))
		default:
			fmt.Fprintln(w, record.Printable(dir)+record.Sealed)
		}
	}
	return nil
}

// Collector is what fetches records from the store, decrypted with the site's secret
// key in a file, signed with one of the public keys in files, if there are any.
func (r Rig) Collector(identity string, keys []string) (c outbox.Collector, err error) {
	c = outbox.Collector{Store: r.Store(), Folder: r.Folder}
	switch {
	case c.Store.URL == "":
		return c, errors.New("from where? set store to the address of the hospital's store")
	case identity == "":
		return c, errors.New("say --identity FILE: the site's age secret key")
	}
	if c.IDs, err = record.Identities(identity); err != nil {
		return c, err
	}
	for _, path := range keys {
		k, err := record.PublicKey(path)
		if err != nil {
			return c, err
		}
		c.Keys = append(c.Keys, k)
	}
	c.Figures, err = r.Definitions()
	return c, err
}

// sending starts the process that sends records, if there is somewhere to send them,
// and shows how they go. What is practised stays here.
func (r Rig) sending(log io.Writer, p Practice, watched *monitor.Watched) (stop func()) {
	if r.Config.Store == "" || p.Case != nil {
		return func() {}
	}
	watched.Outbox = r.outboxState
	self, err := os.Executable()
	if err != nil {
		slog.Warn("records are not sent", "why", err)
		return func() {}
	}
	var env []string
	for _, e := range os.Environ() {
		if !strings.HasPrefix(e, "COXSWAIN_") {
			env = append(env, e)
		}
	}
	for key, value := range map[string]string{
		"STORE": r.Config.Store, "STORE_KEY": r.StoreKey, "STORE_CREDS": r.StoreCreds, "STORE_CA": r.StoreCA,
		"STORE_PLAIN": fmt.Sprint(r.StorePlain),
		"ROOM":        r.Room(), "SIGN_KEY": r.SignKey, "RECORDS": r.Folder, "RECORDS_FALLBACK": r.Fallback(),
		"BENCHMARKS": strings.Join(r.Benchmarks, ","), "LOG_LEVEL": r.LogLevel,
	} {
		env = append(env, "COXSWAIN_"+key+"="+value)
	}
	env = append(env, "GOMAXPROCS=1", "GOMEMLIMIT=64MiB")
	return outbox.Process{Command: []string{self, "deliver", "--until-eof"}, Env: env, Stderr: log}.Keep()
}

// outboxState tells how the outbox stands.
func (r Rig) outboxState() *outbox.State {
	now := time.Now()
	if s := outbox.Look(r.Folder, now); s != nil {
		return s
	}
	return &outbox.State{At: now, Failing: "the outbox has told nothing yet"}
}

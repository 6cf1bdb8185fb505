package rig

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"time"

	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/outbox"
	"coxswain/timeline/record"
)

// Outbox is what sends this room's finished records, as the configuration says.
func (r Rig) Outbox() (*outbox.Outbox, error) {
	o := &outbox.Outbox{Folders: []string{r.Folder, r.Fallback()}, Room: r.Room(), Store: r.Store()}
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

// Store is the hospital's store.
func (r Rig) Store() outbox.Store {
	return outbox.Store{URL: r.Config.Store, Creds: r.StoreCreds, CA: r.StoreCA}
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
		"ROOM": r.Room(), "SIGN_KEY": r.SignKey, "RECORDS": r.Folder, "RECORDS_FALLBACK": r.Fallback(),
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

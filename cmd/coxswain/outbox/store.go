package outbox

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Names in the store.
const (
	Stream  = "COXSWAIN"
	Bucket  = "coxswain-sealed"
	subject = "coxswain.record."
)

// Store is the hospital's store: a NATS server or cluster with JetStream.
type Store struct {
	URL      string        // of a server, or of several, with commas between
	Creds    string        // credentials file; empty: none
	CA       string        // file of the authority that signs its certificate; empty: the system's
	Plain    bool          // a password may travel in clear
	Patience time.Duration // for an answer; 0: 10 s
}

// Check refuses an address that would send a password in clear, to anybody who listens
// on the way: where the server is another machine, and nothing demands TLS.
func (s Store) Check() error {
	for _, one := range strings.Split(s.URL, ",") {
		u, err := url.Parse(strings.TrimSpace(one))
		if err != nil {
			return errors.New("store: an address in it cannot be read: want tls://HOST:4222")
		}
		inside := net.ParseIP(u.Hostname()).IsLoopback() || u.Hostname() == "localhost"
		if u.User != nil && (u.Scheme == "nats" || u.Scheme == "ws" || u.Scheme == "") && !inside && s.CA == "" && !s.Plain {
			return fmt.Errorf("store: %s would send its password in clear: use tls://, or set store_ca; "+
				"store_plain: true allows it all the same", u.Redacted())
		}
	}
	return nil
}

func (s Store) patience() time.Duration {
	if s.Patience > 0 {
		return s.Patience
	}
	return 10 * time.Second
}

// session is a connection to the store.
type session struct {
	conn     *nats.Conn
	js       jetstream.JetStream
	patience time.Duration
}

func (s Store) open(ctx context.Context) (*session, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	opts := []nats.Option{nats.Name("coxswain"), nats.Timeout(s.patience()), nats.MaxReconnects(5),
		nats.ReconnectWait(s.patience() / 10), nats.PingInterval(s.patience()), nats.ReconnectBufSize(1 << 20)}
	if s.Creds != "" {
		opts = append(opts, nats.UserCredentials(s.Creds))
	}
	if s.CA != "" {
		opts = append(opts, nats.RootCAs(s.CA))
	}
	conn, err := nats.Connect(s.URL, opts...)
	if err != nil {
		return nil, fmt.Errorf("the store does not answer: %w", err)
	}
	js, err := jetstream.New(conn, jetstream.WithDefaultTimeout(s.patience()))
	if err != nil {
		conn.Close()
		return nil, err
	}
	return &session{conn, js, s.patience()}, nil
}

func (s *session) Close() { s.conn.Close() }

// Create makes the stream and the object store, or gives those that are there the
// given number of replicas and the age after which the store forgets (0: never).
func (s Store) Create(ctx context.Context, replicas int, keep time.Duration) error {
	c, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer c.Close()
	ctx, cancel := context.WithTimeout(ctx, 6*c.patience)
	defer cancel()
	_, err = c.js.CreateOrUpdateStream(ctx, jetstream.StreamConfig{
		Name: Stream, Description: "letters of coxswain: sealed events and figures", Subjects: []string{subject + "*.*"},
		Replicas: replicas, MaxAge: keep, AllowDirect: true,
		// A letter is there once, however often it is sent.
		MaxMsgsPerSubject: 1, Discard: jetstream.DiscardNew, DiscardNewPerSubject: true,
	})
	if err == nil {
		_, err = c.js.CreateOrUpdateObjectStore(ctx, jetstream.ObjectStoreConfig{
			Bucket: Bucket, Description: "sealed records of coxswain", Replicas: replicas, TTL: keep,
		})
	}
	if err != nil {
		return fmt.Errorf("the store cannot be made: %w", err)
	}
	return nil
}

// Reach reports whether the store answers and has what records need there.
func (s Store) Reach(ctx context.Context) error {
	c, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer c.Close()
	ctx, cancel := context.WithTimeout(ctx, c.patience)
	defer cancel()
	if _, err := c.js.Stream(ctx, Stream); err != nil {
		return fmt.Errorf("stream %s: %w: make it with coxswain collect --create", Stream, err)
	}
	if _, err := c.js.ObjectStore(ctx, Bucket); err != nil {
		return fmt.Errorf("object store %s: %w: make it with coxswain collect --create", Bucket, err)
	}
	return nil
}

// stream is the letters' stream, and a name that tells it from another that was made
// in its place: when it was made.
func (s *session) stream(ctx context.Context) (jetstream.Stream, string, error) {
	ctx, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	stream, err := s.js.Stream(ctx, Stream)
	if err != nil {
		return nil, "", fmt.Errorf("stream %s: %w: make it with coxswain collect --create", Stream, err)
	}
	return stream, stream.CachedInfo().Created.UTC().Format(time.RFC3339Nano), nil
}

// Holding returns a function that tells what keeps a record's folder from being
// deleted: the store has not, or not any more, what it holds. One that went longer ago
// than the store remembers was there long enough to be collected.
func (s Store) Holding(ctx context.Context, room string) (keeps func(dir string) error, done func(), err error) {
	c, err := s.open(ctx)
	if err != nil {
		return nil, nil, err
	}
	stream, name, err := c.stream(ctx)
	if err != nil {
		c.Close()
		return nil, nil, err
	}
	remembers := stream.CachedInfo().Config.MaxAge
	return func(dir string) error {
		m := readMark(dir)
		switch st, err := os.Lstat(filepath.Join(dir, sentName)); {
		case err != nil && Stays(dir):
			return nil
		case err != nil || !Sent(dir) || m.Store != name:
			return errors.New("not in the store yet")
		case remembers > 0 && time.Since(st.ModTime()) >= remembers:
			return nil
		}
		there, err := c.has(ctx, room, m.ID)
		if err == nil && !there {
			err = errors.New("the store has lost it")
		}
		return err
	}, c.Close, nil
}

// has reports whether a letter is in the store, and with it its object.
func (s *session) has(ctx context.Context, room, id string) (bool, error) {
	ctx, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	stream, err := s.js.Stream(ctx, Stream)
	if err != nil {
		return false, fmt.Errorf("stream %s: %w", Stream, err)
	}
	_, err = stream.GetLastMsgForSubject(ctx, subject+room+"."+id)
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("the store does not tell what it has: %w", err)
	}
	return true, nil
}

// chunk is how much of an object goes in one message: what the library takes too.
const chunk = 128 << 10

// put stores what r holds as object id, as the library's own Put would (NATS
// ADR-20), but waits for each chunk to be stored before it reads the next: the
// library sends a chunk that nobody took again from a buffer that holds the next
// one by then, and a change of leader would spoil the object.
func (s *session) put(ctx context.Context, id string, r io.Reader) error {
	look, cancel := context.WithTimeout(ctx, s.patience)
	defer cancel()
	objects, err := s.js.ObjectStore(look, Bucket)
	if err != nil {
		return fmt.Errorf("object store %s: %w", Bucket, err)
	}
	if _, err := objects.GetInfo(look, id); err == nil {
		return nil // whole: what tells of it comes last
	} else if !errors.Is(err, jetstream.ErrObjectNotFound) {
		return err
	}
	info := jetstream.ObjectInfo{Bucket: Bucket, NUID: rand.Text(), ModTime: time.Now().UTC(),
		ObjectMeta: jetstream.ObjectMeta{Name: id, Opts: &jetstream.ObjectMetaOptions{ChunkSize: chunk}}}
	sum, buf := sha256.New(), make([]byte, chunk)
	for {
		n, err := io.ReadFull(r, buf)
		if n > 0 {
			sum.Write(buf[:n])
			m := nats.NewMsg(fmt.Sprintf("$O.%s.C.%s", Bucket, info.NUID))
			m.Data = buf[:n]
			if err := s.publish(ctx, m, fmt.Sprintf("%s-%d", info.NUID, info.Chunks)); err != nil {
				return err
			}
			info.Size, info.Chunks = info.Size+uint64(n), info.Chunks+1
		}
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			break
		}
		if err != nil {
			return err
		}
	}
	info.Digest = jetstream.GetObjectDigestValue(sum)
	m := nats.NewMsg(fmt.Sprintf("$O.%s.M.%s", Bucket, base64.URLEncoding.EncodeToString([]byte(id))))
	m.Header.Set(jetstream.MsgRollup, jetstream.MsgRollupSubject)
	if m.Data, err = json.Marshal(info); err != nil {
		return err
	}
	return s.publish(ctx, m, info.NUID+"-meta")
}

// publish has a message stored. What is not acknowledged goes again, under the same
// id, so that the store takes it once, for some time; then the attempt has failed.
func (s *session) publish(ctx context.Context, m *nats.Msg, id string) error {
	for attempt := 1; ; attempt++ {
		one, cancel := context.WithTimeout(ctx, s.patience)
		_, err := s.js.PublishMsg(one, m, jetstream.WithMsgID(id))
		cancel()
		if err == nil {
			return nil
		}
		var refused *jetstream.APIError
		if ctx.Err() != nil || attempt == 3 || errors.As(err, &refused) {
			return fmt.Errorf("not stored: %w", err)
		}
		select {
		case <-ctx.Done():
		case <-time.After(s.patience / 10):
		}
	}
}

// announce puts a letter into the stream.
func (s *session) announce(ctx context.Context, room, id string, sealed []byte) error {
	m := nats.NewMsg(subject + room + "." + id)
	m.Data = sealed
	return s.publish(ctx, m, id)
}

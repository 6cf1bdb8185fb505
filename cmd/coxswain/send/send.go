// Package send takes finished records to a hospital's queue.
package send

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"coxswain/timeline/record"
	"coxswain/timeline/review"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// Queue is a NATS JetStream stream, and what goes into it.
type Queue struct {
	URL, Subject string
	Format       string // of the export: see review.Formats
	Creds        string // credentials file; empty: none
}

// Load reads a finished record.
type Load func(dir string) (*review.Record, error)

// Publish stores finished records and says so for each; at the first that cannot
// be stored it stops.
func (q Queue) Publish(ctx context.Context, w io.Writer, dirs []string, load Load) error {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	opts := []nats.Option{nats.Name("coxswain"), nats.Timeout(5 * time.Second), nats.MaxReconnects(2)}
	if q.Creds != "" {
		opts = append(opts, nats.UserCredentials(q.Creds))
	}
	conn, err := nats.Connect(q.URL, opts...)
	if err != nil {
		return fmt.Errorf("queue %s: %w", q.URL, err)
	}
	defer conn.Close()
	js, err := jetstream.New(conn)
	if err != nil {
		return err
	}
	for _, dir := range dirs {
		ack, err := q.publish(ctx, js, dir, load)
		if err != nil {
			return fmt.Errorf("%s: not stored: %w", dir, err)
		}
		again := ""
		if ack.Duplicate {
			again = ", was there already"
		}
		fmt.Fprintf(w, "%s: stored in %s as %d%s\n", record.Printable(dir), ack.Stream, ack.Sequence, again)
	}
	return nil
}

// publish stores one finished record; its fingerprint tells it from others.
func (q Queue) publish(ctx context.Context, js jetstream.JetStream, dir string, load Load) (*jetstream.PubAck, error) {
	whole, err := record.Open(dir)
	if err != nil {
		return nil, err
	}
	if _, err := whole.Verify(); err != nil {
		return nil, err
	}
	r, err := load(dir)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, f := range review.Formats {
		if names = append(names, f.Name); f.Name != q.Format {
			continue
		}
		var b bytes.Buffer
		if err := f.Write(r, &b); err != nil {
			return nil, err
		}
		return js.PublishMsg(
			ctx,
			&nats.Msg{
				Subject: q.Subject,
				Data:    b.Bytes(),
				Header:  nats.Header{"Coxswain-Record": {r.Name}, "Coxswain-Format": {q.Format}},
			},
			jetstream.WithMsgID(whole.Fingerprint()+"-"+q.Format),
		)
	}
	return nil, fmt.Errorf("--format %q: choose %s", q.Format, strings.Join(names, ", "))
}

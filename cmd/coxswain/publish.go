package main

import (
	"bytes"
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

func newPublish(c *config.Config) *cobra.Command {
	var url, subject, format, creds string
	cmd := &cobra.Command{
		Use: "publish DIR... --nats URL --subject SUBJECT", Short: "Send finished records to a hospital's queue",
		Long: `Send the export of finished records (no audio) to a NATS JetStream stream and wait
until it has stored them. A record that was sent before is not stored twice while
the stream remembers it. Nothing is ever sent unless this command is called.`,
		Example: "  coxswain publish records/2026-03-01T140000 --nats tls://queue.example:4222 --subject records.resuscitation --creds site.creds\n  coxswain publish DIR --nats nats://127.0.0.1:4222 --subject records --format fhir",
		Args:    cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if url == "" || subject == "" {
				return fmt.Errorf("where to? say --nats URL and --subject SUBJECT")
			}
			ctx, cancel := context.WithTimeout(cmd.Context(), time.Minute)
			defer cancel()
			opts := []nats.Option{nats.Name("coxswain"), nats.Timeout(5 * time.Second), nats.MaxReconnects(2)}
			if creds != "" {
				opts = append(opts, nats.UserCredentials(creds))
			}
			conn, err := nats.Connect(url, opts...)
			if err != nil {
				return fmt.Errorf("queue %s: %w", url, err)
			}
			defer conn.Close()
			js, err := jetstream.New(conn)
			if err != nil {
				return err
			}
			for _, dir := range args {
				ack, err := publish(ctx, c, js, dir, subject, format)
				if err != nil {
					return fmt.Errorf("%s: not stored: %w", dir, err)
				}
				again := ""
				if ack.Duplicate {
					again = ", was there already"
				}
				fmt.Fprintf(cmd.OutOrStdout(), "%s: stored in %s as %d%s\n", dir, ack.Stream, ack.Sequence, again)
			}
			return nil
		},
	}
	f := cmd.Flags()
	f.StringVar(&url, "nats", "", "address of the NATS server")
	f.StringVar(&subject, "subject", "", "subject of the stream")
	f.StringVar(&format, "format", "json", "json, fhir, csv, webvtt or utstein")
	f.StringVar(&creds, "creds", "", "NATS credentials file")
	return cmd
}

// publish stores one finished record; its fingerprint tells it from others.
func publish(
	ctx context.Context,
	c *config.Config,
	js jetstream.JetStream,
	dir, subject, format string,
) (*jetstream.PubAck, error) {
	whole, err := record.Open(dir)
	if err != nil {
		return nil, err
	}
	if _, err := whole.Verify(); err != nil {
		return nil, err
	}
	r, err := loadRecord(c, dir)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, f := range review.Formats {
		if names = append(names, f.Name); f.Name != format {
			continue
		}
		var b bytes.Buffer
		if err := f.Write(r, &b); err != nil {
			return nil, err
		}
		return js.PublishMsg(
			ctx,
			&nats.Msg{
				Subject: subject,
				Data:    b.Bytes(),
				Header:  nats.Header{"Coxswain-Record": {r.Name}, "Coxswain-Format": {format}},
			},
			jetstream.WithMsgID(whole.Fingerprint()+"-"+format),
		)
	}
	return nil, fmt.Errorf("--format %q: choose %s", format, strings.Join(names, ", "))
}

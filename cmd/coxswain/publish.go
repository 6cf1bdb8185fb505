package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/send"
	"coxswain/timeline/review"
)

func newPublish(c *config.Config) *cobra.Command {
	var url, subject, format, creds string
	cmd := &cobra.Command{
		Use: "publish DIR... --nats URL --subject SUBJECT", Short: "Send finished records to a hospital's queue",
		Long: `Send the export of finished records (no audio) to a NATS JetStream stream and wait
until it has stored them. A record that was sent before is not stored twice while
the stream remembers it. Nothing is ever sent unless this command is called.`,
		Example: "  coxswain publish records/2026-03-01T140000 " +
			"--nats tls://queue.example:4222 --subject records.resuscitation --creds site.creds\n" +
			"  coxswain publish DIR --nats nats://127.0.0.1:4222 --subject records --format fhir",
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if url == "" || subject == "" {
				return fmt.Errorf("where to? say --nats URL and --subject SUBJECT")
			}
			load := func(dir string) (*review.Record, error) { return loadRecord(c, dir) }
			q := send.Queue{URL: url, Subject: subject, Format: format, Creds: creds}
			return q.Publish(cmd.Context(), cmd.OutOrStdout(), args, load)
		},
	}
	f := cmd.Flags()
	f.StringVar(&url, "nats", "", "address of the NATS server")
	f.StringVar(&subject, "subject", "", "subject of the stream")
	f.StringVar(&format, "format", "json", "json, fhir, csv, webvtt or utstein")
	f.StringVar(&creds, "creds", "", "NATS credentials file")
	return cmd
}

package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/web"
	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

func newReview(c *config.Config) *cobra.Command {
	var addr string
	cmd := &cobra.Command{
		Use: "review DIR [DIR2]", Short: "Open a record in the browser: listen, read the figures, amend",
		Long: `Serve a page over a record on this machine only: the waveform of both channels
with events and cycles, every event a click away from its sound, the figures with
their benchmarks and sources, amendments. With a second record the two are
compared.

` + Caution,
		Example: "  coxswain review records/2026-03-01T140000\n  coxswain review A B --listen 127.0.0.1:8000",
		Args:    cobra.RangeArgs(1, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !web.Loopback(addr) {
				return fmt.Errorf("--listen %q: the page holds patients' voices and stays on this machine: choose 127.0.0.1:PORT", addr)
			}
			defs, err := c.Figures.Definitions()
			if err != nil {
				return err
			}
			h, err := web.Review(reviewed(defs), args...)
			if err != nil {
				return err
			}
			ln, err := net.Listen("tcp", addr)
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s\nhttp://%s/\n", Caution, ln.Addr())
			ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			s := &http.Server{Handler: web.Guard(h, ""), ReadHeaderTimeout: 5 * time.Second, MaxHeaderBytes: 16 << 10}
			context.AfterFunc(ctx, func() { s.Close() })
			if err := s.Serve(ln); !errors.Is(err, http.ErrServerClosed) {
				return err
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&addr, "listen", "127.0.0.1:7471", "address of the page, on this machine")
	return cmd
}

// reviewed is how the pages get at records.
func reviewed(defs []figures.Definition) web.Records {
	return web.Records{
		Load:  func(dir string) (*review.Record, error) { return loadReviewed(dir, defs) },
		Peaks: func(dir string) ([]byte, error) { return peaks(dir, countParts(dir)) },
		Amend: amendRecord,
	}
}

// amendRecord appends a change to the journal of a finished record.
func amendRecord(dir string, change timeline.Change) error {
	events, tail, err := record.Read(dir)
	if err != nil {
		return err
	}
	if tail.Reason != "" || !closed(events) {
		return fmt.Errorf("the session is not finished: end it, or finish the record with `coxswain mend %s`", dir)
	}
	change.Wall = time.Now().Format(time.RFC3339)
	add, err := timeline.Amend(events, change, timeline.End(events))
	if err != nil {
		return err
	}
	j, _, err := record.Reopen(dir)
	if err != nil {
		return err
	}
	defer j.Close()
	for _, e := range add {
		if _, err := j.Append(e); err != nil {
			return err
		}
	}
	return nil
}

func newAmend(c *config.Config) *cobra.Command {
	var change timeline.Change
	var at, kind string
	cmd := &cobra.Command{
		Use: "amend DIR", Short: "Add, move or retract an event of a finished record, with a reason",
		Long:    "Append an amendment to the journal of a finished record. What was called stays; figures are shown as called and as amended.",
		Example: "  coxswain amend DIR --do retract --event 41 --by AB --reason \"was a question\"\n  coxswain amend DIR --do move --event 12 --at 3:05 --by AB --reason \"monitor clock\"\n  coxswain amend DIR --do add --kind access.io --at 2:10 --by AB --reason \"seen by two\"",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			change.Kind = timeline.Kind(kind)
			if at != "" {
				t, err := timeline.ParseTime(at)
				if err != nil {
					return fmt.Errorf("--at: %w", err)
				}
				change.At = t
			}
			return amendRecord(args[0], change)
		},
	}
	f := cmd.Flags()
	f.StringVar(&change.Do, "do", "", "add, move or retract")
	f.Uint64Var(&change.Seq, "event", 0, "number of the event to move or retract")
	f.StringVar(&kind, "kind", "", "what to add, such as shock.given")
	f.StringVar(&at, "at", "", "session time, m:ss or m:ss.t")
	f.StringVar(&change.By, "by", "", "initials")
	f.StringVar(&change.Reason, "reason", "", "why")
	return cmd
}

package main

import (
	"crypto/ed25519"
	"fmt"
	"io"
	"net"
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
	var open bool
	cmd := &cobra.Command{
		Use: "review DIR [DIR2]", Short: "Open a record in the browser: listen, read the figures, amend",
		Long: `Serve a page over a record on this machine only: the waveform of both channels
with events and cycles, every event a click away from its sound, the figures with
their benchmarks and sources, amendments. With a second record the two are
compared. The address that is printed carries a word without which nobody, other
users of this machine included, sees or hears anything.

` + Caution,
		Example: `  coxswain review records/2026-03-01T140000
  coxswain review A B --listen 127.0.0.1:8000`,
		Args: cobra.RangeArgs(1, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			if !web.Loopback(addr) {
				return fmt.Errorf(
					"--listen %q: the page holds patients' voices and stays on this machine: choose 127.0.0.1:PORT",
					addr,
				)
			}
			defs, err := c.Figures.Definitions()
			if err != nil {
				return err
			}
			key, err := signKey(c)
			if err != nil {
				return err
			}
			h, err := web.Review(reviewed(defs, key), args...)
			if err != nil {
				return err
			}
			ln, err := net.Listen("tcp", addr)
			if err != nil {
				return err
			}
			token := web.NewToken()
			address := fmt.Sprintf("http://%s/?token=%s", ln.Addr(), token)
			fmt.Fprintf(cmd.OutOrStdout(), "%s\n%s\n", Caution, address)
			if open {
				defer web.OpenBrowser(address)()
			}
			ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			return web.Serve(ctx, ln, web.Guard(h, token))
		},
	}
	cmd.Flags().StringVar(&addr, "listen", "127.0.0.1:7471", "address of the page, on this machine")
	cmd.Flags().BoolVar(&open, "open", web.HasDesktop(), "open the page in the desktop's browser")
	return cmd
}

// reviewed is how the page gets at records.
func reviewed(defs []figures.Definition, key ed25519.PrivateKey) web.Records {
	return web.Records{
		Load: func(dir string) (*review.Record, error) { return load(dir, defs) },
		Peaks: func(dir string) ([]byte, error) {
			r, err := record.Open(dir)
			if err != nil {
				return nil, err
			}
			return r.Peaks()
		},
		Sound: func(dir string, part int) (io.ReadSeekCloser, error) { return record.OpenPart(dir, part) },
		Amend: func(dir string, change timeline.Change) error { return record.Amend(dir, change, time.Now(), key) },
	}
}

// signKey is the key that records and amendments are signed with; nil: none.
func signKey(c *config.Config) (ed25519.PrivateKey, error) {
	if c.SignKey == "" {
		return nil, nil
	}
	return record.PrivateKey(c.SignKey)
}

package web

import (
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os/signal"
	"syscall"

	"coxswain/timeline"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// OnDisk is how pages get at records on this machine's disk, and amend them.
func OnDisk(load func(string) (*review.Record, error), amend func(string, timeline.Change) error) Records {
	return Records{
		Load: load,
		Peaks: func(dir string) ([]byte, error) {
			r, err := record.Open(dir)
			if err != nil {
				return nil, err
			}
			return r.Peaks()
		},
		Sound: func(dir string, part int) (io.ReadSeekCloser, error) { return record.OpenPart(dir, part) },
		Amend: amend,
	}
}

// Private is a page for whoever started the command, and nobody else.
type Private struct {
	Listen  string    // address, of this machine only
	Open    bool      // in the desktop's browser
	Out     io.Writer // where the address is printed, with the word that opens it
	Caution string
	path    string // of the page that the address opens
}

// Serve serves the page until SIGTERM, SIGINT or the end of ctx.
func (p Private) Serve(ctx context.Context, h http.Handler) error {
	if !Loopback(p.Listen) {
		return fmt.Errorf(
			"--listen %q: the page holds patients' voices and stays on this machine: choose 127.0.0.1:PORT",
			p.Listen,
		)
	}
	ln, err := net.Listen("tcp", p.Listen)
	if err != nil {
		return err
	}
	token := NewToken()
	address := fmt.Sprintf("http://%s/%s?token=%s", ln.Addr(), p.path, token)
	fmt.Fprintf(p.Out, "%s\n%s\n", p.Caution, address)
	if p.Open {
		defer OpenBrowser(address)()
	}
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM, syscall.SIGINT)
	defer stop()
	return Serve(ctx, ln, Guard(h, token))
}

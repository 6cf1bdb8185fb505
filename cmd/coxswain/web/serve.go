package web

import (
	"context"
	"errors"
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

// UsualAddress is where a private page is served if nobody says otherwise.
const UsualAddress = "127.0.0.1:7471"

// listen listens where it should. The usual address is often another page's of ours: then any
// other will do, and a note says so.
func (p Private) listen() (ln net.Listener, note string, err error) {
	ln, err = net.Listen("tcp", p.Listen)
	switch {
	case err == nil || !errors.Is(err, syscall.EADDRINUSE):
	case p.Listen == UsualAddress:
		note = fmt.Sprintf("%s is taken, by another page of coxswain or another program; this page is here:\n", p.Listen)
		ln, err = net.Listen("tcp", "127.0.0.1:0")
	default:
		err = fmt.Errorf("--listen %s is taken by another program: close that, or choose 127.0.0.1:0, "+
			"which takes any that is free", p.Listen)
	}
	return ln, note, err
}

// Serve serves the page until SIGTERM, SIGINT or the end of ctx.
func (p Private) Serve(ctx context.Context, h http.Handler) error {
	if !Loopback(p.Listen) {
		return fmt.Errorf(
			"--listen %q: the page holds patients' voices and stays on this machine: choose 127.0.0.1:PORT",
			p.Listen,
		)
	}
	ln, note, err := p.listen()
	if err != nil {
		return err
	}
	token := NewToken()
	address := fmt.Sprintf("http://%s/%s?token=%s", ln.Addr(), p.path, token)
	fmt.Fprintf(p.Out, "%s\n%s%s\n", p.Caution, note, address)
	if p.Open {
		defer OpenBrowser(address)()
	}
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM, syscall.SIGINT)
	defer stop()
	return Serve(ctx, ln, Guard(h, token))
}

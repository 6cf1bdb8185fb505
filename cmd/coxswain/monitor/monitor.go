// Package monitor shows a running session to its surroundings: a status socket,
// metrics, the service manager; and looks at the machine that it runs on.
package monitor

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/outbox"
	"coxswain/cmd/coxswain/session"
	"coxswain/cmd/coxswain/web"
	"coxswain/timeline/record"
)

// SocketPath is where the session that runs on a records folder answers.
func SocketPath(records string) string { return filepath.Join(records, ".status.sock") }

// Options say where a session can be looked at.
type Options struct {
	Records string // folder that gets the socket
	HTTP    string // address of the wall display and the metrics; empty: none
	Open    bool   // the wall display needs no token on loopback
	Token   string // that every request to HTTP must carry; empty: one is made, for the wall display
}

// Watched is a session that can be looked at.
type Watched struct {
	Latest *session.Box
	Turns  func() int64 // turns of its loop so far
	// Dropped is how many lines of the log nobody took; nil: not counted.
	Dropped func() int64
	Start   func() // starts a case without a voice; nil: cannot be asked for
	// Outbox is how far the records have gone to the hospital's store; nil: there is none.
	Outbox  func() *outbox.State
	Notices *Notices // nil: there are none
}

// Status is a session's snapshot, and how its outbox stands.
type Status struct {
	*session.Snapshot
	Outbox  *outbox.State `json:"outbox,omitempty"`
	Notices []string      `json:"notices,omitempty"`
}

// status is what s looks like now.
func (s Watched) status() Status {
	out := Status{Snapshot: s.Latest.Load(), Notices: s.Notices.All()}
	if s.Outbox != nil {
		out.Outbox = s.Outbox()
	}
	return out
}

// Serve shows the session to whoever looks: on a socket in the records folder,
// over HTTP, and to the service manager. All of it only reads snapshots, and
// none of it can stop the session: what fails is logged.
func Serve(o Options, s Watched) (stop func()) {
	if s.Notices == nil {
		s.Notices = &Notices{}
	}
	api, display := Handler(s), displayToken(o)
	var servers []*http.Server
	serve := func(ln net.Listener, h http.Handler) {
		srv := web.NewServer(h, 10*time.Second)
		servers = append(servers, srv)
		go srv.Serve(ln)
	}
	if addr := o.HTTP; addr != "" {
		if ln, err := net.Listen("tcp", addr); err != nil {
			s.Notices.Add("there is no wall display and there are no metrics (choose another address with --http): %v", err)
			o.HTTP = ""
		} else {
			slog.Info("wall display and metrics", "url", "http://"+ln.Addr().String()+"/")
			serve(ln, guarded(o, s, display))
		}
	}
	path := SocketPath(o.Records)
	os.Remove(path) // the lock on the records folder says that it is ours
	if ln, err := net.Listen("unix", path); err != nil {
		slog.Warn("no status socket", "why", err)
	} else {
		os.Chmod(path, 0o600)
		serve(ln, withDisplay(api, o, display))
	}
	bye := notifyManager(s.Turns)
	return func() {
		bye()
		for _, srv := range servers {
			srv.Close()
		}
	}
}

// tokenName is the file in a records folder that holds the wall display's token,
// so that a display comes back by itself when coxswain was started anew.
const tokenName = ".display-token"

// displayToken is what the wall display needs; empty: nothing.
func displayToken(o Options) string {
	if o.Token != "" || o.Open {
		return o.Token
	}
	path := filepath.Join(o.Records, tokenName)
	if b, err := recorder.ReadNamed(path, 100); err == nil && len(b) >= 16 {
		return string(b)
	}
	token := web.NewToken()
	if err := record.WriteFile(path, []byte(token)); err != nil {
		slog.Warn("the address of the wall display changes with every start", "why", err)
	}
	return token
}

// guarded is what HTTP serves. Without a configured token, only the wall display
// and the status need one: the rest carries no words.
func guarded(o Options, s Watched, display string) http.Handler {
	if o.Open { // without a word, only to look
		s.Start = nil
	}
	api := web.Guard(Handler(s), display)
	if o.Token != "" {
		return api
	}
	mux := http.NewServeMux()
	for _, path := range []string{"GET /health", "GET /metrics"} {
		mux.Handle(path, web.Guard(Handler(s), ""))
	}
	mux.Handle("/", api)
	return mux
}

// withDisplay adds the address of the wall display, for who may open the socket.
func withDisplay(api http.Handler, o Options, display string) http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/", api)
	mux.HandleFunc("GET /display", func(w http.ResponseWriter, _ *http.Request) {
		address := "http://" + o.HTTP + "/"
		if o.HTTP == "" {
			why := "there is no wall display: --http is empty, or its address was taken when coxswain began"
			http.Error(w, why+" (see coxswain status)", http.StatusNotFound)
			return
		}
		if display != "" {
			address += "?token=" + url.QueryEscape(display)
		}
		fmt.Fprintln(w, address)
	})
	return mux
}

// Handler serves snapshots: JSON, server-sent events, metrics, the page.
func Handler(s Watched) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /status", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(s.status())
	})
	mux.HandleFunc("GET /health", func(w http.ResponseWriter, _ *http.Request) {
		if n := s.Latest.Load(); !n.Healthy {
			http.Error(w, unwell(n), http.StatusServiceUnavailable)
			return
		}
		fmt.Fprintln(w, "well")
	})
	mux.HandleFunc("POST /start", func(w http.ResponseWriter, r *http.Request) {
		if s.Start == nil {
			http.Error(w, "a start needs the display's word, or coxswain start on this machine", http.StatusForbidden)
			return
		}
		if r.Header.Get("Origin") != "" { // with the cookie of the wall display, which goes to every port of this address
			http.Error(w, "no page starts a case: a program does, with the token", http.StatusForbidden)
			return
		}
		s.Start()
		w.WriteHeader(http.StatusAccepted)
	})
	mux.Handle("GET /metrics", metrics(s))
	mux.Handle("GET /", web.Wall(s.Latest))
	return mux
}

// unwell names what is not well, in words of its own: who asks for the health may
// be anyone on this machine. Why stands in the status.
func unwell(n *session.Snapshot) string {
	what := "not well:"
	for _, part := range []struct {
		name string
		well bool
	}{{"recogniser", n.Recogniser == "hears"}, {"sound", n.Sound == "whole"}, {"record", n.Saving},
		{"beat", !n.Beats.Uneven}} {
		if !part.well {
			what += " " + part.name
		}
	}
	return what
}

// Ask asks the session that runs on a records folder how it stands, over its
// local socket.
func Ask(ctx context.Context, records string) (*Status, error) {
	b, err := ask(ctx, records, "GET", "/status")
	if err != nil {
		return nil, err
	}
	var n Status
	if err := json.Unmarshal(b, &n); err != nil {
		return nil, fmt.Errorf("%s: not an answer of coxswain: %w", SocketPath(records), err)
	}
	return &n, nil
}

// Display asks for the address of the wall display, with what opens it.
func Display(ctx context.Context, records string) (string, error) {
	b, err := ask(ctx, records, "GET", "/display")
	return strings.TrimSpace(string(b)), err
}

// Start has the session that runs on a records folder begin a case.
func Start(ctx context.Context, records string) error {
	_, err := ask(ctx, records, "POST", "/start")
	return err
}

func ask(ctx context.Context, records, method, path string) ([]byte, error) {
	client := http.Client{
		Timeout: 2 * time.Second,
		Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			return (&net.Dialer{}).DialContext(ctx, "unix", SocketPath(records))
		}},
	}
	req, err := http.NewRequestWithContext(ctx, method, "http://coxswain"+path, nil)
	if err != nil {
		return nil, err
	}
	r, err := client.Do(req)
	if err != nil {
		return nil, fmt.Errorf(
			"no coxswain answers on %s: start one with `coxswain run --records %s`",
			SocketPath(records),
			records,
		)
	}
	defer r.Body.Close()
	b, err := io.ReadAll(io.LimitReader(r.Body, 1<<20))
	if err == nil && r.StatusCode/100 != 2 {
		err = errors.New(strings.TrimSpace(string(b)))
	}
	return b, err
}

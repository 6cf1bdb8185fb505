package main

import (
	"crypto/subtle"
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

//go:embed web
var webFiles embed.FS

func socketPath(records string) string { return filepath.Join(records, ".status.sock") }

// serveStatus shows the session to whoever looks: on a socket in the records
// folder, over HTTP, and to the service manager. All of it only reads
// snapshots, and none of it can stop the session: what fails is logged.
func serveStatus(c *conf, l *live) (stop func()) {
	api := statusHandler(&l.s.seen, l.beats.Load)
	var servers []*http.Server
	serve := func(ln net.Listener, h http.Handler) {
		s := &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second, MaxHeaderBytes: 16 << 10, ErrorLog: slog.NewLogLogger(slog.Default().Handler(), slog.LevelDebug)}
		servers = append(servers, s)
		go s.Serve(ln)
	}
	path := socketPath(c.v.GetString("records"))
	os.Remove(path) // the lock on the records folder says that it is ours
	if ln, err := net.Listen("unix", path); err != nil {
		slog.Warn("no status socket", "why", err)
	} else {
		os.Chmod(path, 0o600)
		serve(ln, api)
	}
	if addr := c.v.GetString("http"); addr != "" {
		if ln, err := net.Listen("tcp", addr); err != nil {
			slog.Warn("no page and no metrics", "why", err)
		} else {
			slog.Info("wall display and metrics", "url", "http://"+ln.Addr().String()+"/")
			serve(ln, guard(api, c.v.GetString("http_token")))
		}
	}
	bye := notifyManager(l.beats.Load)
	return func() {
		bye()
		for _, s := range servers {
			s.Close()
		}
	}
}

// guard asks every request for the token, if there is one, and sets the
// headers that keep a page from loading or doing anything else.
func guard(h http.Handler, token string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; media-src 'self'; form-action 'none'; frame-ancestors 'none'; base-uri 'none'")
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Referrer-Policy", "no-referrer")
		w.Header().Set("Cache-Control", "no-store")
		given := strings.TrimPrefix(r.Header.Get("Authorization"), "Bearer ")
		if q := r.URL.Query().Get("token"); q != "" {
			given = q
		} else if k, err := r.Cookie("token"); err == nil && given == "" {
			given = k.Value
		}
		if token != "" && subtle.ConstantTimeCompare([]byte(given), []byte(token)) != 1 {
			http.Error(w, "a token is needed", http.StatusUnauthorized)
			return
		}
		if token != "" && r.URL.Query().Get("token") != "" { // the page's own files follow without it
			http.SetCookie(w, &http.Cookie{Name: "token", Value: token, HttpOnly: true, SameSite: http.SameSiteStrictMode, Path: "/"})
		}
		if token == "" && !localName(r.Host) { // a name that was made to point here
			http.Error(w, "unknown host", http.StatusMisdirectedRequest)
			return
		}
		h.ServeHTTP(w, r)
	})
}

// localName reports whether a Host header names this machine's loopback, so
// that a page from elsewhere cannot reach us by a name of its own.
func localName(host string) bool {
	h, _, err := net.SplitHostPort(host)
	if err != nil {
		h = host
	}
	ip := net.ParseIP(strings.Trim(h, "[]"))
	return h == "localhost" || ip != nil && ip.IsLoopback()
}

// loopback reports whether an address to listen on is this machine's own.
func loopback(addr string) bool {
	h, _, err := net.SplitHostPort(addr)
	return err == nil && h != "" && localName(h)
}

// statusHandler serves snapshots: JSON, server-sent events, metrics, the page.
func statusHandler(seen *snapshotBox, turns func() int64) http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /status", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		json.NewEncoder(w).Encode(seen.Load())
	})
	mux.HandleFunc("GET /health", func(w http.ResponseWriter, _ *http.Request) {
		if n := seen.Load(); !n.Healthy {
			http.Error(w, fmt.Sprintf("recogniser: %s; sound: %s; record saved: %v", n.Recogniser, n.Sound, n.Saving), http.StatusServiceUnavailable)
			return
		}
		fmt.Fprintln(w, "well")
	})
	mux.HandleFunc("GET /events", func(w http.ResponseWriter, r *http.Request) { stream(w, r, seen) })
	mux.Handle("GET /metrics", metrics(seen, turns))
	pages, _ := fs.Sub(webFiles, "web/wall")
	mux.Handle("GET /", http.FileServerFS(pages))
	return mux
}

// stream sends a snapshot four times a second, as server-sent events (HTML
// standard, section 9.2), until the reader goes away.
func stream(w http.ResponseWriter, r *http.Request, seen *snapshotBox) {
	out := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	t := time.NewTicker(250 * time.Millisecond)
	defer t.Stop()
	for {
		b, err := json.Marshal(seen.Load())
		if err != nil {
			return
		}
		out.SetWriteDeadline(time.Now().Add(5 * time.Second))
		if _, err := fmt.Fprintf(w, "data: %s\n\n", b); err != nil || out.Flush() != nil {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-t.C:
		}
	}
}

// metrics are the snapshot in Prometheus text form. None carries words.
func metrics(seen *snapshotBox, turns func() int64) http.Handler {
	reg := prometheus.NewRegistry()
	gauge := func(name, help string, f func(*snapshot) float64) {
		reg.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Namespace: "coxswain", Name: name, Help: help}, func() float64 { return f(seen.Load()) }))
	}
	flag := func(b bool) float64 {
		if b {
			return 1
		}
		return 0
	}
	gauge("healthy", "1 while callouts are heard, sound is whole and the record is saved.", func(n *snapshot) float64 { return flag(n.Healthy) })
	gauge("recogniser_up", "1 while the recogniser hears.", func(n *snapshot) float64 { return flag(n.Recogniser == "hears") })
	gauge("sound_whole", "1 while there are microphone and loudspeaker.", func(n *snapshot) float64 { return flag(n.Sound == "whole") })
	gauge("record_saving", "1 while the record can be written.", func(n *snapshot) float64 { return flag(n.Saving) })
	gauge("code_running", "1 from the start of a code to its end.", func(n *snapshot) float64 { return flag(n.Code != nil) })
	gauge("session_seconds", "Length of the session.", func(n *snapshot) float64 { return n.Session })
	gauge("microphone_dbfs", "Level of the room over the last half second, dB below full scale.", func(n *snapshot) float64 { return n.Microphone })
	gauge("echo_return_loss_enhancement_db", "How much quieter our own sound became.", func(n *snapshot) float64 { return n.Echo })
	gauge("callouts", "Callouts taken in this session.", func(n *snapshot) float64 { return float64(n.Callouts) })
	gauge("faults", "Faults logged in this session.", func(n *snapshot) float64 { return float64(n.Faults) })
	gauge("loop_turns", "Turns of the session's loop.", func(*snapshot) float64 { return float64(turns()) })
	return promhttp.HandlerFor(reg, promhttp.HandlerOpts{})
}

// notifyManager tells systemd that the session is up and, while the session's
// loop turns, that it is alive (sd_notify(3)). It does so from a goroutine of
// its own: a manager that does not read blocks nobody else.
func notifyManager(turns func() int64) (stop func()) {
	quit, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		daemon.SdNotify(false, daemon.SdNotifyReady)
		every, err := daemon.SdWatchdogEnabled(false)
		if err != nil || every == 0 {
			<-quit
		} else {
			watch(every/3, turns, quit)
		}
		daemon.SdNotify(false, daemon.SdNotifyStopping)
	}()
	var once sync.Once
	return func() {
		once.Do(func() { close(quit) })
		select {
		case <-done:
		case <-time.After(100 * time.Millisecond):
		}
	}
}

func watch(every time.Duration, turns func() int64, quit <-chan struct{}) {
	t := time.NewTicker(every)
	defer t.Stop()
	for last := int64(-1); ; {
		select {
		case <-quit:
			return
		case <-t.C:
			if n := turns(); n != last {
				last = n
				daemon.SdNotify(false, daemon.SdNotifyWatchdog)
			}
		}
	}
}

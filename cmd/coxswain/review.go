package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"os"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"coxswain/audio/recorder"
	"coxswain/timeline"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

func newReview(c *conf) *cobra.Command {
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
			if !loopback(addr) {
				return fmt.Errorf("--listen %q: the page holds patients' voices and stays on this machine: choose 127.0.0.1:PORT", addr)
			}
			defs, err := c.definitions()
			if err != nil {
				return err
			}
			h, err := reviewHandler(args, defs)
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
			s := &http.Server{Handler: guard(h, ""), ReadHeaderTimeout: 5 * time.Second, MaxHeaderBytes: 16 << 10}
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

// definitions are the figures with the site's benchmarks.
func (c *conf) definitions() ([]timeline.Definition, error) {
	over, err := c.overlays("benchmarks")
	if err != nil {
		return nil, err
	}
	return timeline.Definitions(over...)
}

// reviewer serves one or two records.
type reviewer struct {
	mu   sync.Mutex
	dirs []string
	defs []timeline.Definition
}

func reviewHandler(dirs []string, defs []timeline.Definition) (http.Handler, error) {
	v := &reviewer{dirs: dirs, defs: defs}
	for _, d := range dirs {
		if _, err := loadReviewed(d, defs); err != nil {
			return nil, err
		}
	}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /api/records", v.records)
	mux.HandleFunc("GET /api/peaks/{n}", v.peaks)
	mux.HandleFunc("GET /audio/{n}/{part}", v.audio)
	mux.HandleFunc("POST /api/amend/{n}", v.amend)
	pages, err := fs.Sub(webFiles, "web/review")
	if err != nil {
		return nil, err
	}
	mux.Handle("GET /", http.FileServerFS(pages))
	return mux, nil
}

func sendJSON(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	json.NewEncoder(w).Encode(v)
}

func (v *reviewer) records(w http.ResponseWriter, _ *http.Request) {
	var out []*review.Record
	for _, d := range v.dirs {
		r, err := loadReviewed(d, v.defs)
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		out = append(out, r)
	}
	sendJSON(w, out)
}

// dir returns the folder of the record that a request names.
func (v *reviewer) dir(w http.ResponseWriter, r *http.Request) (string, bool) {
	n, err := strconv.Atoi(r.PathValue("n"))
	if err != nil || n < 0 || n >= len(v.dirs) {
		http.NotFound(w, r)
		return "", false
	}
	return v.dirs[n], true
}

func (v *reviewer) peaks(w http.ResponseWriter, r *http.Request) {
	dir, ok := v.dir(w, r)
	if !ok {
		return
	}
	b, err := peaks(dir, countParts(dir))
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "application/octet-stream")
	w.Write(b)
}

// audio serves a file of the audio log, by ranges, so that a browser can jump.
func (v *reviewer) audio(w http.ResponseWriter, r *http.Request) {
	dir, ok := v.dir(w, r)
	if !ok {
		return
	}
	part, err := strconv.Atoi(r.PathValue("part"))
	if err != nil || part < 0 {
		http.NotFound(w, r)
		return
	}
	f, err := os.Open(filepath.Join(dir, recorder.PartName(part)))
	if err != nil {
		http.NotFound(w, r)
		return
	}
	defer f.Close()
	w.Header().Set("Content-Type", "audio/wav")
	http.ServeContent(w, r, "audio.wav", time.Time{}, f)
}

// amend appends a change to the journal. Only the page itself may ask: a form
// of another site can send no JSON here.
func (v *reviewer) amend(w http.ResponseWriter, r *http.Request) {
	dir, ok := v.dir(w, r)
	if !ok {
		return
	}
	if o := r.Header.Get("Origin"); !strings.HasPrefix(r.Header.Get("Content-Type"), "application/json") || o != "" && o != "http://"+r.Host {
		http.Error(w, "amendments come from the page only", http.StatusForbidden)
		return
	}
	var change timeline.Change
	if err := json.NewDecoder(io.LimitReader(r.Body, 64<<10)).Decode(&change); err != nil {
		http.Error(w, "not a change: "+err.Error(), http.StatusBadRequest)
		return
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	if err := amendRecord(dir, change); err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	v.records(w, r)
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

func newAmend(c *conf) *cobra.Command {
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

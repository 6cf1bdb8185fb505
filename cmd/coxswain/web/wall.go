package web

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"net/http"
	"time"

	"coxswain/cmd/coxswain/session"
)

//go:embed practice records review shared wall
var files embed.FS

// Wall serves the wall display over the snapshots of a session.
func Wall(seen *session.Box) http.Handler {
	mux := http.NewServeMux()
	places := make(chan struct{}, mostStreams)
	mux.HandleFunc("GET /events", func(w http.ResponseWriter, r *http.Request) {
		select {
		case places <- struct{}{}:
			defer func() { <-places }()
			stream(w, r, seen)
		default:
			http.Error(
				w,
				fmt.Sprintf("%d displays follow already: close one", mostStreams),
				http.StatusServiceUnavailable,
			)
		}
	})
	pages, _ := fs.Sub(files, "wall")
	mux.Handle("GET /", http.FileServerFS(pages))
	return mux
}

// stream sends a snapshot four times a second, as server-sent events (HTML
// standard, section 9.2), until the reader goes away.
func stream(w http.ResponseWriter, r *http.Request, seen *session.Box) {
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

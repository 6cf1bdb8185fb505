package web

import (
	"encoding/json"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"time"

	"coxswain/audio/recorder"
	"coxswain/timeline"
	"coxswain/timeline/review"
)

// Records is how the review page gets at records, by their folders.
type Records struct {
	Load  func(dir string) (*review.Record, error)
	Peaks func(dir string) ([]byte, error) // two bytes for every 100 ms: channel 1, channel 2
	Amend func(dir string, c timeline.Change) error
}

// reviewer serves one or two records.
type reviewer struct {
	mu   sync.Mutex
	dirs []string
	from Records
}

// Review serves the review page over the records in one or two folders; an
// error if one of them cannot be read.
func Review(from Records, dirs ...string) (http.Handler, error) {
	v := &reviewer{dirs: dirs, from: from}
	for _, d := range dirs {
		if _, err := from.Load(d); err != nil {
			return nil, err
		}
	}
	mux := http.NewServeMux()
	mux.HandleFunc("GET /api/records", v.records)
	mux.HandleFunc("GET /api/peaks/{n}", v.peaks)
	mux.HandleFunc("GET /audio/{n}/{part}", v.audio)
	mux.HandleFunc("POST /api/amend/{n}", v.amend)
	pages, err := fs.Sub(files, "review")
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
		r, err := v.from.Load(d)
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
	b, err := v.from.Peaks(dir)
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
	if err := v.from.Amend(dir, change); err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	v.records(w, r)
}

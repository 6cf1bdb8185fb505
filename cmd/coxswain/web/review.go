package web

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"sync"
	"time"

	"coxswain/timeline"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// Records is how the review page gets at records, by their folders.
type Records struct {
	Load  func(dir string) (*review.Record, error)
	Peaks func(dir string) ([]byte, error) // two bytes for every 100 ms: channel 1, channel 2
	Sound func(dir string, part int) (io.ReadSeekCloser, error)
	Amend func(dir string, c timeline.Change) error
}

// reviewer serves one or two records.
type reviewer struct {
	mu     sync.Mutex
	dirs   []string
	from   Records
	loaded map[string]loaded // by folder, until it is asked for anew
}

// Review serves the review page over the records in one or two folders; an
// error if one of them cannot be read.
func Review(from Records, dirs ...string) (http.Handler, error) {
	v := newReviewer(from, dirs)
	for _, d := range dirs {
		if _, _, err := v.drawn(d); err != nil {
			return nil, err
		}
	}
	return v.handler(), nil
}

func newReviewer(from Records, dirs []string) *reviewer {
	return &reviewer{dirs: dirs, from: from, loaded: map[string]loaded{}}
}

// handler serves the page, which is painted before it asks for what it shows.
func (v *reviewer) handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /api/records", v.records)
	mux.HandleFunc("GET /api/course/{n}", v.course)
	mux.HandleFunc("GET /api/kinds", kinds)
	mux.HandleFunc("GET /audio/{n}/{part}", v.audio)
	mux.HandleFunc("POST /api/amend/{n}", v.amend)
	mux.Handle("GET /", static("review"))
	return mux
}

// stateOf tells one state of a record's folder from another: amended, signed, gone on.
func stateOf(dir string) (state string) {
	for _, name := range []string{record.JournalName, record.SignatureName} {
		if st, err := os.Lstat(filepath.Join(dir, name)); err == nil {
			state += fmt.Sprint(st.Size(), st.ModTime().UnixNano(), " ")
		}
	}
	return state
}

func sendJSON(w http.ResponseWriter, v any) {
	w.Header().Set("Content-Type", "application/json")
	json.NewEncoder(w).Encode(v)
}

// kinds lists what can be added to a record: each callout and its words.
func kinds(w http.ResponseWriter, _ *http.Request) {
	type kind struct {
		Kind  timeline.Kind `json:"kind"`
		Words string        `json:"words"`
	}
	var out []kind
	for _, k := range timeline.Callouts {
		if !k.Row().Control {
			out = append(out, kind{k, k.Row().Words})
		}
	}
	sendJSON(w, out)
}

func (v *reviewer) records(w http.ResponseWriter, _ *http.Request) {
	v.mu.Lock()
	for dir, l := range v.loaded {
		if l.state != stateOf(dir) { // it has changed since
			delete(v.loaded, dir)
		}
	}
	v.mu.Unlock()
	var out []*review.Record
	for _, d := range v.dirs {
		r, _, err := v.drawn(d)
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

// course draws a part of a record: from and to in seconds of the session, width
// in pixels. The page asks again whenever it is zoomed or moved.
func (v *reviewer) course(w http.ResponseWriter, r *http.Request) {
	dir, ok := v.dir(w, r)
	if !ok {
		return
	}
	var n [3]float64
	for i, name := range []string{"from", "to", "width"} {
		x, err := strconv.ParseFloat(r.URL.Query().Get(name), 64)
		if err != nil || !(x >= -maxSpan && x <= maxSpan) {
			http.Error(w, name+": want a number", http.StatusBadRequest)
			return
		}
		n[i] = x
	}
	rec, peaks, err := v.drawn(dir)
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	strip := review.Strip{
		From:  timeline.Seconds(n[0]),
		To:    timeline.Seconds(max(n[1], n[0]+1)),
		Width: min(max(n[2], 300), 4000),
		Peaks: peaks,
	}
	svg, err := review.DrawCourse(rec, strip)
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "image/svg+xml")
	io.WriteString(w, svg)
}

// maxSpan is more seconds than any record has.
const maxSpan = 1e6

// drawn is a record as it was last sent to the page, with its loudness.
func (v *reviewer) drawn(dir string) (*review.Record, []byte, error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if r, ok := v.loaded[dir]; ok {
		return r.Record, r.peaks, nil
	}
	state := stateOf(dir) // before it is read
	rec, err := v.from.Load(dir)
	if err != nil {
		return nil, nil, err
	}
	peaks, err := v.from.Peaks(dir)
	if err != nil {
		peaks = nil // the course is worth drawing without the sound
	}
	v.loaded[dir] = loaded{rec, peaks, state}
	return rec, peaks, nil
}

// loaded is a record that was read, and the loudness of its sound.
type loaded struct {
	*review.Record
	peaks []byte
	state string
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
	f, err := v.from.Sound(dir, part)
	if err != nil {
		http.NotFound(w, r)
		return
	}
	defer f.Close()
	w.Header().Set("Content-Type", "audio/wav")
	http.ServeContent(w, r, "audio.wav", time.Time{}, f)
}

// amend appends a change to the journal.
func (v *reviewer) amend(w http.ResponseWriter, r *http.Request) {
	dir, ok := v.dir(w, r)
	if !ok {
		return
	}
	if !ownPage(r) {
		http.Error(w, "amendments come from the page only", http.StatusForbidden)
		return
	}
	change, err := parseChange(http.MaxBytesReader(w, r.Body, maxChange))
	if err != nil {
		http.Error(w, "not a change: "+err.Error(), http.StatusBadRequest)
		return
	}
	v.mu.Lock()
	err = v.from.Amend(dir, change)
	v.mu.Unlock()
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	v.records(w, r)
}

// maxChange bounds what the page sends: a change with its reason is shorter.
const maxChange = 8 << 10

// parseChange reads one change and nothing else; timeline.Amend bounds it.
func parseChange(r io.Reader) (c timeline.Change, err error) {
	d := json.NewDecoder(r)
	d.DisallowUnknownFields()
	if err = d.Decode(&c); err == nil && d.More() {
		err = errors.New("something stands behind it")
	}
	return c, err
}

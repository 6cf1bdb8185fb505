package web

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"coxswain/cmd/coxswain/session"
	"coxswain/timeline"
	"coxswain/timeline/drill"
)

// Drills is what a page needs to run drills, one at a time.
type Drills struct {
	Cases   []*drill.Case
	Phrases []string                                                   // ways to say callouts
	Run     func(ctx context.Context, d Drill) (dir string, err error) // to its end; returns the record's folder
}

// Drill is a drill as the page asks for it.
type Drill struct {
	Case    *drill.Case
	Team    string
	Silent  bool                 // advice off
	Spoken  bool                 // hears the microphone; else what is typed
	Lines   <-chan string        // typed callouts
	Watch   func(timeline.Event) // sees every event
	Look    func(*session.Box)   // gets where to look at the session
	Refused func(error)          // is told of a line that is no callout
}

// Practice serves the page on which drills are run.
type Practice struct {
	ctx    context.Context
	drills Drills
	done   func(dir string) // is told of each record

	mu     sync.Mutex
	going  sync.WaitGroup
	end    context.CancelFunc // ends the drill that runs; nil: none does
	typed  chan string
	box    *session.Box
	count  int             // of the drills so far
	last   Drill           // that runs, or ran last
	told   []told          // of the drill that runs, or ran last
	cut    map[string]bool // sentences of it that were cut off: they may be said once more
	record string          // name of the last drill's record; empty: none yet
}

// told is a line of what the page tells.
type told struct {
	At   float64 `json:"at_s"`
	Who  string  `json:"who"` // case, coxswain, heard, or wrong
	Text string  `json:"text"`
}

// mostTold bounds what is kept of a drill.
const mostTold = 2000

// NewPractice returns the page; every drill ends with ctx. done is told of the
// folder of each record.
func NewPractice(ctx context.Context, d Drills, done func(dir string)) *Practice {
	return &Practice{ctx: ctx, drills: d, done: done, typed: make(chan string)}
}

// Wait returns when no drill runs.
func (p *Practice) Wait() { p.going.Wait() }

// Handler serves the page.
func (p *Practice) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /api/cases", p.cases)
	mux.HandleFunc("POST /api/begin", fromPage(p.begin))
	mux.HandleFunc("POST /api/say", fromPage(p.say))
	mux.HandleFunc("POST /api/end", fromPage(p.stop))
	mux.HandleFunc("GET /events", p.events)
	mux.Handle("/", static("practice"))
	return mux
}

// cases sends the cases that there are, and ways to say callouts.
func (p *Practice) cases(w http.ResponseWriter, _ *http.Request) {
	type one struct {
		ID       string  `json:"id"`
		Title    string  `json:"title"`
		Minutes  float64 `json:"minutes"`
		Protocol string  `json:"protocol,omitempty"` // title of the only one that it is made for
		Looks    int     `json:"looks"`              // how much is looked for, beside what is in every case
	}
	var out []one
	for _, c := range p.drills.Cases {
		by := ""
		if c.Protocol != "" {
			by = timeline.ProtocolTitle(c.Protocol)
		}
		out = append(out, one{c.ID, c.Title, c.Minutes, by, len(c.Look)})
	}
	sendJSON(w, map[string]any{"cases": out, "phrases": p.drills.Phrases, "caution": session.Caution})
}

// fromPage lets only the page itself ask, in JSON: a form of another site can
// send none here.
func fromPage(h http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if !ownPage(r) {
			http.Error(w, "this comes from the page only", http.StatusForbidden)
			return
		}
		h(w, r)
	}
}

// ownPage reports whether a request comes from a page of ours.
func ownPage(r *http.Request) bool {
	o := r.Header.Get("Origin")
	return strings.HasPrefix(r.Header.Get("Content-Type"), "application/json") && (o == "" || o == "http://"+r.Host)
}

// longestName bounds the name of a team, in characters.
const longestName = 40

// begin begins a drill.
func (p *Practice) begin(w http.ResponseWriter, r *http.Request) {
	var ask struct {
		Case, Team     string
		Silent, Spoken bool
	}
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxChange)).Decode(&ask); err != nil {
		http.Error(w, "not a drill: "+err.Error(), http.StatusBadRequest)
		return
	}
	i := slices.IndexFunc(p.drills.Cases, func(c *drill.Case) bool { return c.ID == ask.Case })
	if i < 0 {
		http.Error(w, "choose a case", http.StatusBadRequest)
		return
	}
	if ask.Team = strings.TrimSpace(ask.Team); utf8.RuneCountInString(ask.Team) > longestName {
		http.Error(w, fmt.Sprintf("the team's name: at most %d characters", longestName), http.StatusBadRequest)
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.end != nil {
		http.Error(w, "a drill runs already: end it first", http.StatusConflict)
		return
	}
	ctx, end := context.WithCancel(p.ctx)
	p.end, p.told, p.cut, p.box = end, nil, map[string]bool{}, &session.Box{}
	p.count++
	p.last = Drill{
		Case: p.drills.Cases[i], Team: ask.Team, Silent: ask.Silent, Spoken: ask.Spoken, Lines: p.typed,
		Watch: p.watch, Look: p.look,
		Refused: func(err error) { p.tell(told{p.seconds(), "wrong", err.Error()}) },
	}
	p.going.Add(1)
	go p.run(ctx, p.last)
	w.WriteHeader(http.StatusAccepted)
}

// run runs a drill to its end.
func (p *Practice) run(ctx context.Context, d Drill) {
	defer p.going.Done()
	dir, err := p.drills.Run(ctx, d)
	if err != nil {
		p.tell(told{p.seconds(), "wrong", err.Error()})
	}
	if dir != "" {
		p.done(dir)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.end()
	p.end = nil
	if dir != "" {
		p.record = filepath.Base(dir)
	}
}

// look takes where to look at the session.
func (p *Practice) look(b *session.Box) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.box = b
}

// seconds is how far the drill is.
func (p *Practice) seconds() float64 {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.box.Load().Session
}

// watch tells of an event what a team would see and hear.
func (p *Practice) watch(e timeline.Event) {
	one := told{e.At.Seconds(), "coxswain", e.Sentence}
	switch {
	case e.Kind == timeline.CueSpoken && p.again(e):
		return
	case e.Kind == timeline.CueSpoken:
		if e.Cue == "drill" {
			one.Who = "case"
		}
	case e.Kind.IsCallout() && e.Heard != nil:
		if one.Who, one.Text = "heard", e.Heard.Text; one.Text == "" {
			one.Text = e.Words()
		}
	default:
		return
	}
	p.tell(one)
}

// again reports whether a sentence stands on the page already: it was cut off when it was said
// before, or is now.
func (p *Practice) again(e timeline.Event) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	was := p.cut[e.Sentence]
	p.cut[e.Sentence] = e.Cut
	return e.Cut || was
}

func (p *Practice) tell(one told) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if len(p.told) < mostTold {
		p.told = append(p.told, one)
	}
}

// say passes on a line that was typed.
func (p *Practice) say(w http.ResponseWriter, r *http.Request) {
	var line string
	if err := json.NewDecoder(http.MaxBytesReader(w, r.Body, maxChange)).Decode(&line); err != nil {
		http.Error(w, "not a line: "+err.Error(), http.StatusBadRequest)
		return
	}
	p.mu.Lock()
	running := p.end != nil
	p.mu.Unlock()
	if !running {
		http.Error(w, "no drill runs", http.StatusConflict)
		return
	}
	select {
	case p.typed <- strings.Join(strings.Fields(line), " "):
		w.WriteHeader(http.StatusAccepted)
	case <-time.After(5 * time.Second):
		http.Error(w, "this drill hears the microphone, or has ended", http.StatusConflict)
	case <-r.Context().Done():
	}
}

// stop ends the drill that runs.
func (p *Practice) stop(w http.ResponseWriter, _ *http.Request) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.end != nil {
		p.end()
	}
	w.WriteHeader(http.StatusAccepted)
}

// events streams what is told and how the session looks, four times a second.
func (p *Practice) events(w http.ResponseWriter, r *http.Request) {
	out := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	t := time.NewTicker(250 * time.Millisecond)
	defer t.Stop()
	for sent, of := 0, 0; ; {
		p.mu.Lock()
		if p.count != of { // another drill
			sent, of = 0, p.count
		}
		view := map[string]any{"drill": of, "running": p.end != nil, "record": p.record}
		view["silent"] = p.last.Silent
		if c := p.last.Case; c != nil {
			view["title"] = c.Title
		}
		view["told"] = append([]told{}, p.told[sent:]...)
		sent = len(p.told)
		box := p.box
		p.mu.Unlock()
		if box != nil {
			view["now"] = box.Load()
		}
		b, err := json.Marshal(view)
		out.SetWriteDeadline(time.Now().Add(5 * time.Second))
		if _, werr := fmt.Fprintf(w, "data: %s\n\n", b); cmp.Or(err, werr, out.Flush()) != nil {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-p.ctx.Done():
			return
		case <-t.C:
		}
	}
}

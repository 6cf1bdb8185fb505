package web

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"coxswain/cmd/coxswain/session"
	"coxswain/timeline"
	"coxswain/timeline/drill"
)

// team runs drills as the program does: what is typed is heard, or refused when it is
// "mumble"; it ends when it is asked to, or at "over".
func team(kept string) Drills {
	return Drills{
		Cases:   []*drill.Case{{ID: "pea", Title: "Found in bed", Minutes: 3, Look: []drill.Criterion{{}, {}}}},
		Phrases: []string{"rhythm check"},
		Run: func(ctx context.Context, d Drill) (string, error) {
			box := &session.Box{}
			box.Store(&session.Snapshot{Session: 12, State: "compressing"})
			d.Look(box)
			for i, c := range []string{"hello", "drill", "hello", "drill"} { // each once more, since the next cut it off
				one := timeline.Event{At: timeline.Seconds(float64(i)), Kind: timeline.CueSpoken, Cue: c,
					Sentence: map[string]string{"hello": "Listening.", "drill": "Found in bed."}[c]}
				d.Watch(one)
				if one.Cut = i < 2; one.Cut {
					d.Watch(one)
				}
			}
			for {
				select {
				case <-ctx.Done():
					return kept, nil
				case line := <-d.Lines:
					switch line {
					case "mumble":
						d.Refused(errors.New("no callout"))
						continue
					case "over":
						return "", errors.New("the disk is full")
					}
					at := timeline.Seconds(13)
					d.Watch(timeline.Event{At: at, Kind: timeline.RhythmCheck, Heard: &timeline.Heard{Text: line, End: at}})
					d.Watch(timeline.Event{At: at, Kind: timeline.CueSpoken, Cue: "said.rhythm.check", Sentence: "Rhythm check."})
				}
			}
		},
	}
}

// view is what the page is told.
type view struct {
	Drill   int
	Running bool
	Record  string
	Told    []told
	Now     *session.Snapshot
}

// follow reads what a server's page is told until something holds, and returns all that
// was told of the drill that runs.
func follow(t *testing.T, server *httptest.Server, until func(v view, all []told) bool) []told {
	t.Helper()
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	req, err := http.NewRequestWithContext(ctx, "GET", server.URL+"/events", nil)
	if err != nil {
		t.Fatal(err)
	}
	r, err := http.DefaultClient.Do(req)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	var all []told
	for lines := bufio.NewScanner(r.Body); lines.Scan(); {
		data, is := strings.CutPrefix(lines.Text(), "data: ")
		var v view
		if !is {
			continue
		}
		if err := json.Unmarshal([]byte(data), &v); err != nil {
			t.Fatalf("%v: %s", err, data)
		}
		if all = append(all, v.Told...); until(v, all) {
			return all
		}
	}
	t.Fatalf("it never came; told: %v", all)
	return nil
}

// sentTo posts JSON and returns the answer's status. What a busy machine did not take in
// time is sent again.
func sentTo(t *testing.T, server *httptest.Server, path, body string) int {
	t.Helper()
	for begun := time.Now(); ; {
		r, err := http.Post(server.URL+path, "application/json", strings.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		why, _ := io.ReadAll(r.Body)
		r.Body.Close()
		if !strings.Contains(string(why), "or has ended") || time.Since(begun) > time.Minute {
			return r.StatusCode
		}
	}
}

// A drill on the page: the case is told, what is typed is heard and answered, or refused,
// one drill at a time, and its record is named when it has ended. Who opens the page late
// is told all.
func TestPractice(t *testing.T) {
	var done []string
	ctx, end := context.WithCancel(t.Context())
	p := NewPractice(ctx, team("/records/2026-03-01T140000"), func(dir string) { done = append(done, dir) })
	server := httptest.NewServer(p.Handler())
	defer server.Close()
	defer end()
	for _, c := range []struct {
		path, body string
		want       int
	}{
		{"/api/say", `"rhythm check"`, 409}, {"/api/end", `null`, 202}, // no drill runs
		{"/api/begin", `{"case":"none"}`, 400}, {"/api/begin", `[`, 400},
		{"/api/begin", `{"case":"pea","team":"` + strings.Repeat("ü", longestName+1) + `"}`, 400},
		{"/api/begin", `{"case":"pea","team":"` + strings.Repeat("ü", longestName) + `"}`, 202},
		{"/api/begin", `{"case":"pea"}`, 409},
		{"/api/say", `"  check   the rhythm "`, 202}, {"/api/say", `"mumble"`, 202}, {"/api/say", `{}`, 400},
		{"/api/say", `"` + strings.Repeat("x", maxChange) + `"`, 400},
	} {
		if got := sentTo(t, server, c.path, c.body); got != c.want {
			t.Errorf("%s %.60s: %d, want %d", c.path, c.body, got, c.want)
		}
	}
	want := []told{{0, "coxswain", "Listening."}, {1, "case", "Found in bed."}, {13, "heard", "check the rhythm"},
		{13, "coxswain", "Rhythm check."},
		{12, "wrong", "no callout"}}
	for range 2 { // as two displays
		got := follow(t, server, func(v view, all []told) bool {
			return v.Running && v.Now != nil && v.Now.Session == 12 && len(all) >= len(want)
		})
		if len(got) != len(want) {
			t.Fatalf("told %v, want %v", got, want)
		}
		for i := range want {
			if got[i] != want[i] {
				t.Errorf("told %v, want %v", got[i], want[i])
			}
		}
	}
	sentTo(t, server, "/api/end", `null`)
	follow(t, server, func(v view, _ []told) bool { return !v.Running && v.Record == "2026-03-01T140000" })
	p.Wait()
	if len(done) != 1 || filepath.Base(done[0]) != "2026-03-01T140000" {
		t.Errorf("records: %v", done)
	}
	// One that fails says why, leaves no record of its own, and another can begin.
	sentTo(t, server, "/api/begin", `{"case":"pea"}`)
	sentTo(t, server, "/api/say", `"over"`)
	got := follow(t, server, func(v view, all []told) bool { return !v.Running && v.Drill == 2 && len(all) > 1 })
	if last := got[len(got)-1]; last.Who != "wrong" || last.Text != "the disk is full" || len(done) != 1 {
		t.Errorf("told %v last; records: %v", last, done)
	}
	if got := sentTo(t, server, "/api/begin", `{"case":"pea"}`); got != 202 {
		t.Errorf("a drill after one that failed: %d", got)
	}
	end() // the program ends: so does the drill
	p.Wait()
}

// Only the page itself begins, answers and ends drills; anybody admitted may look.
func TestPracticeIsForItsPage(t *testing.T) {
	p := NewPractice(t.Context(), team(""), nil)
	for _, c := range []struct {
		method, path, kind, origin string
		want                       int
	}{
		{"POST", "/api/begin", "application/json", "http://elsewhere.example", 403}, {"POST", "/api/begin", "text/plain", "", 403},
		{"POST", "/api/say", "", "", 403}, {"POST", "/api/end", "text/plain", "http://127.0.0.1", 403},
		{"POST", "/api/end", "application/json", "http://127.0.0.1", 202}, {"GET", "/api/begin", "application/json", "", 404},
		{"GET", "/", "", "", 200}, {"GET", "/base.js", "", "", 200},
	} {
		r := httptest.NewRequest(c.method, "http://127.0.0.1"+c.path, strings.NewReader(`{"case":"pea"}`))
		r.Header.Set("Content-Type", c.kind)
		if c.origin != "" {
			r.Header.Set("Origin", c.origin)
		}
		w := httptest.NewRecorder()
		if p.Handler().ServeHTTP(w, r); w.Code != c.want {
			t.Errorf("%s %s of %q from %q: %d, want %d", c.method, c.path, c.kind, c.origin, w.Code, c.want)
		}
	}
	var doc struct {
		Cases []struct {
			ID, Title string
			Looks     int
		}
		Phrases []string
		Caution string
	}
	ask(t, p.Handler(), "GET", "/api/cases", "", &doc)
	if len(doc.Cases) != 1 || doc.Cases[0].Title != "Found in bed" || doc.Cases[0].Looks != 2 || len(doc.Phrases) != 1 || doc.Caution == "" {
		t.Errorf("%+v", doc)
	}
}

// An address with its word is opened through a file of the user's own: on a command
// line every user of the machine could read it. The file goes when the page does.
func TestOpenBrowser(t *testing.T) {
	dir, tmp := t.TempDir(), t.TempDir()
	script := "#!/bin/sh\nls -l \"$1\" > " + dir + "/mode\ncat \"$1\" > " + dir + "/page\necho \"$@\" > " + dir + "/line\n"
	if err := os.WriteFile(filepath.Join(dir, opener), []byte(script), 0o700); err != nil {
		t.Fatal(err)
	}
	t.Setenv("PATH", dir+":"+os.Getenv("PATH"))
	t.Setenv("TMPDIR", tmp)
	t.Setenv("WAYLAND_DISPLAY", "")
	for display, want := range map[string]bool{"": false, ":0": true} {
		t.Setenv("DISPLAY", display)
		if HasDesktop() != want {
			t.Errorf("with DISPLAY=%q there is a desktop: %v", display, !want)
		}
	}
	done := OpenBrowser(`http://127.0.0.1:1/?token=word&x="`)
	var line []byte
	for begun := time.Now(); len(line) == 0 && time.Since(begun) < time.Minute; time.Sleep(5 * time.Millisecond) {
		line, _ = os.ReadFile(filepath.Join(dir, "line"))
	}
	page, _ := os.ReadFile(filepath.Join(dir, "page"))
	mode, _ := os.ReadFile(filepath.Join(dir, "mode"))
	if !strings.Contains(string(page), `url=http://127.0.0.1:1/?token=word&amp;x=&#34;"`) || strings.Contains(string(line), "word") ||
		!strings.HasPrefix(string(mode), "-rw-------") {
		t.Errorf("opened %q, a file of %.10s that says %s", line, mode, page)
	}
	done()
	if left, _ := os.ReadDir(tmp); len(left) > 0 {
		t.Errorf("left: %v", left)
	}
}

package monitor

import (
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coxswain/cmd/coxswain/session"
)

// On this machine the wall display is for who knows its word, unless it is told
// to be open; metrics and health carry no words and need none, unless a word is
// configured.
func TestWhoMaySeeTheWall(t *testing.T) {
	s := Watched{Latest: new(session.Box), Turns: func() int64 { return 1 }}
	for _, c := range []struct {
		name                   string
		o                      Options
		wall, status, metrics  int
		displayWord, configure bool
	}{
		{"as installed", Options{}, 401, 401, 200, true, false},
		{"told to be open", Options{Open: true}, 200, 200, 200, false, false},
		{"a word is configured", Options{Token: "sixteen-letters-"}, 401, 401, 401, true, true},
	} {
		c.o.Records, c.o.HTTP = t.TempDir(), "127.0.0.1:7470"
		display := displayToken(c.o)
		h := guarded(c.o, s, display)
		for path, want := range map[string]int{"/": c.wall, "/status": c.status, "/metrics": c.metrics} {
			r := httptest.NewRequest("GET", path, nil)
			r.Host = "127.0.0.1:7470"
			w := httptest.NewRecorder()
			if h.ServeHTTP(w, r); w.Code != want {
				t.Errorf("%s: %s: %d, want %d", c.name, path, w.Code, want)
			}
		}
		w := httptest.NewRecorder()
		withDisplay(Handler(s), c.o, display).ServeHTTP(w, httptest.NewRequest("GET", "/display", nil))
		if got := strings.Contains(w.Body.String(), "?token="+display) && display != ""; got != c.displayWord {
			t.Errorf("%s: the socket says %q", c.name, w.Body)
		}
		if again := displayToken(c.o); again != display {
			t.Errorf("%s: after a start anew the word is another", c.name)
		}
		st, err := os.Stat(filepath.Join(c.o.Records, tokenName))
		if kept := err == nil; kept != (c.displayWord && !c.configure) || kept && st.Mode().Perm() != 0o600 {
			t.Errorf("%s: %v %v", c.name, st, err)
		}
	}
}

// What any user of this machine can ask for, the health and the metrics, holds no
// word of the session, in good times and bad: no callout, no drug, no name of a
// record, no text of a fault. Times are those of the session, not of the day.
func TestOpenPagesCarryNoPatient(t *testing.T) {
	const secret = "Sentinel"
	n := &session.Snapshot{
		Caution: secret, Record: secret, State: secret, Rhythm: secret, Shocks: 4711, Recogniser: secret, Sound: secret,
		Given: []session.Given{{Name: secret, Count: 4712}}, Due: []session.Due{{Text: secret, In: 4713}},
		Last:  []session.Heard{{Text: secret, Ago: 4714, Sure: 0.4715}},
		Beats: session.Beats{Uneven: true},
	}
	for _, healthy := range []bool{false, true} {
		n.Healthy = healthy
		s := Watched{Latest: &session.Box{}, Turns: func() int64 { return 1 }}
		s.Latest.Store(n)
		h := guarded(Options{}, s, "sixteen-letters-")
		for path, want := range map[string]int{"/health": 503, "/metrics": 200, "/status": 401, "/": 401, "/display": 401} {
			if healthy && path == "/health" {
				want = 200
			}
			w := httptest.NewRecorder()
			h.ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1:7470"+path, nil))
			body := w.Body.String()
			if w.Code != want || strings.Contains(body, secret) || strings.Contains(body, "471") {
				t.Errorf("%s: %d, want %d without a word of the session: %.300s", path, w.Code, want, body)
			}
			if path == "/health" && !healthy && !strings.Contains(body, "not well: recogniser sound record beat") {
				t.Errorf("%s does not say what is not well: %s", path, body)
			}
		}
	}
}

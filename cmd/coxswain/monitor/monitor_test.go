package monitor

import (
	"net/http"
	"net/http/httptest"
	"testing"

	"coxswain/cmd/coxswain/session"
)

// A case is started over the socket, and over HTTP only with a word: a page of
// another site, or another user of this machine, has none.
func TestStartByRequest(t *testing.T) {
	started := 0
	s := Watched{Latest: &session.Box{}, Turns: func() int64 { return 1 }, Start: func() { started++ }}
	const word = "sixteen-letters-"
	for _, c := range []struct {
		name   string
		h      http.Handler
		bearer string
		want   int
		starts int
	}{
		{"socket", Handler(s), "", http.StatusAccepted, 1},
		{"with the word", guarded(Options{Token: word}, s, word), word, http.StatusAccepted, 2},
		{"without it", guarded(Options{Token: word}, s, word), "", http.StatusUnauthorized, 2},
		{"with the display's", guarded(Options{}, s, word), word, http.StatusAccepted, 3},
		{"without that", guarded(Options{}, s, word), "", http.StatusUnauthorized, 3},
		{"open", guarded(Options{Open: true}, s, ""), "", http.StatusForbidden, 3},
	} {
		r := httptest.NewRequest("POST", "http://127.0.0.1:7470/start", nil)
		if c.bearer != "" {
			r.Header.Set("Authorization", "Bearer "+c.bearer)
		}
		w := httptest.NewRecorder()
		if c.h.ServeHTTP(w, r); w.Code != c.want || started != c.starts {
			t.Errorf("%s: %d, %d starts; want %d, %d", c.name, w.Code, started, c.want, c.starts)
		}
	}
	r := httptest.NewRequest("POST", "http://127.0.0.1:7470/start", nil) // a page on another port gets the display's cookie, too
	r.Header.Set("Authorization", "Bearer "+word)
	r.Header.Set("Origin", "http://127.0.0.1:9999")
	w := httptest.NewRecorder()
	if guarded(Options{}, s, word).ServeHTTP(w, r); w.Code != http.StatusForbidden || started != 3 {
		t.Errorf("a page: %d, %d starts", w.Code, started)
	}
}

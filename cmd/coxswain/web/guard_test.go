package web

import (
	"net/http"
	"net/http/httptest"
	"testing"
)

// Beyond loopback a token is asked for; on loopback a foreign name is refused.
func TestGuard(t *testing.T) {
	h := http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(200) })
	for _, c := range []struct {
		token, url, host, bearer string
		want                     int
	}{
		{"", "/", "127.0.0.1:7470", "", 200},
		{"", "/", "localhost:7470", "", 200},
		{"", "/", "[::1]:7470", "", 200},
		{"", "/", "elsewhere.example:7470", "", 421},
		{"sixteen-letters-", "/", "10.0.0.7:7470", "", 401},
		{"sixteen-letters-", "/?token=wrong", "10.0.0.7:7470", "", 401},
		{"sixteen-letters-", "/?token=sixteen-letters-", "10.0.0.7:7470", "", 200},
		{"sixteen-letters-", "/", "10.0.0.7:7470", "sixteen-letters-", 200},
	} {
		r := httptest.NewRequest("GET", c.url, nil)
		r.Host = c.host
		if c.bearer != "" {
			r.Header.Set("Authorization", "Bearer "+c.bearer)
		}
		w := httptest.NewRecorder()
		Guard(h, c.token).ServeHTTP(w, r)
		if w.Code != c.want {
			t.Errorf("%+v: %d", c, w.Code)
		}
	}
}

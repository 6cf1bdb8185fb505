package web

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"coxswain/timeline"
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
		{"sixteen-letters-", "/?token=", "10.0.0.7:7470", "", 401},
		{"sixteen-letters-", "/", "127.0.0.1:7470", "", 401},
		{"sixteen-letters-", "/", "127.0.0.1:7470", "wrong", 401},
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

// A browser changes the token for a cookie that does not tell it, and that other
// servers' pages on this machine do not overwrite; the address bar loses it.
func TestTokenForACookie(t *testing.T) {
	const token = "sixteen-letters-"
	h := Guard(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(200) }), token)
	ask := func(url, host string, cookies ...*http.Cookie) *http.Response {
		r := httptest.NewRequest("GET", url, nil)
		r.Host = host
		r.Header.Set("Accept", "text/html,*/*")
		for _, c := range cookies {
			r.AddCookie(c)
		}
		w := httptest.NewRecorder()
		h.ServeHTTP(w, r)
		return w.Result()
	}
	first := ask("//elsewhere.example/?token="+token, "127.0.0.1:7471")
	if first.StatusCode != 303 ||
		first.Header.Get("Location") != "/elsewhere.example/" && first.Header.Get("Location") != "/" ||
		len(first.Cookies()) != 1 {
		t.Fatalf("%d %v", first.StatusCode, first.Header)
	}
	c := first.Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || strings.Contains(c.Value, token) {
		t.Errorf("%+v", c)
	}
	if got := ask("/api/records", "127.0.0.1:7471", c).StatusCode; got != 200 {
		t.Errorf("with the cookie: %d", got)
	}
	if got := ask("/api/records", "127.0.0.1:7470", c).StatusCode; got != 401 {
		t.Errorf("another port takes it: %d", got)
	}
	if got := ask("/", "127.0.0.1:7471", &http.Cookie{Name: c.Name, Value: token}).StatusCode; got != 401 {
		t.Errorf("the token as a cookie: %d", got)
	}
}

// What the page sends is one change, of known fields; the rest is refused.
func TestParseChange(t *testing.T) {
	for text, ok := range map[string]bool{
		`{"do":"retract","seq":4,"by":"AB","reason":"x"}`:    true,
		`{"do":"retract","seq":4,"by":"AB","reason":"x"}{}`:  false,
		`{"do":"retract","seq":4,"by":"AB","reason":"x"} {}`: false,
		`{"do":"retract","session":{}}`:                      false,
		`{"seq":-1}`:                                         false, `{"seq":1e99}`: false, `[]`: false, ``: false, `null`: true,
	} {
		if _, err := parseChange(strings.NewReader(text)); (err == nil) != ok {
			t.Errorf("%s: %v", text, err)
		}
	}
}

func FuzzParseChange(f *testing.F) {
	f.Add(`{"do":"add","kind":"drug.x","at":5,"values":{"dose_mg":1},"by":"AB","reason":"x"}`)
	f.Fuzz(func(t *testing.T, text string) {
		c, err := parseChange(strings.NewReader(text))
		if err != nil {
			return
		}
		events, err := timeline.Amend([]timeline.Event{{Seq: 1, Kind: timeline.ShockGiven}}, c, timeline.Seconds(60), nil)
		for _, e := range events {
			if err == nil && timeline.CheckAmendment(e) != nil {
				t.Errorf("%s became %+v", text, e)
			}
		}
	})
}

// Package web has the pages: the wall display of a running session and the
// review of finished records, with their static files. No page loads anything
// from elsewhere, and none can stop a session.
package web

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"net"
	"net/http"
	"strings"
)

// Guard asks every request for the token, if there is one, and sets the
// headers that keep a page from loading or doing anything else. The token comes
// as a bearer's, or once in the address as ?token=, which a browser changes for
// a cookie of this session and an address without it.
func Guard(h http.Handler, token string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().
			Set(
				"Content-Security-Policy",
				"default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "+
					"img-src 'self'; media-src 'self'; form-action 'none'; frame-ancestors 'none'; base-uri 'none'",
			)
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Referrer-Policy", "no-referrer")
		w.Header().Set("Cache-Control", "no-store")
		switch {
		case token == "" && !localName(r.Host): // a name that was made to point here
			http.Error(w, "unknown host", http.StatusMisdirectedRequest)
		case token != "" && !admitted(r, token):
			http.Error(w, "a token is needed: open the address that the command printed", http.StatusUnauthorized)
		case token != "" && r.Method == http.MethodGet && r.URL.Query().Has("token"):
			http.SetCookie(
				w,
				&http.Cookie{
					Name:     cookieName(r.Host),
					Value:    pass(token),
					HttpOnly: true,
					SameSite: http.SameSiteStrictMode,
					Path:     "/",
				},
			)
			if strings.Contains(r.Header.Get("Accept"), "text/html") { // the token leaves the address bar
				http.Redirect(w, r, "/"+strings.TrimLeft(r.URL.Path, "/"), http.StatusSeeOther)
				return
			}
			h.ServeHTTP(w, r)
		default:
			h.ServeHTTP(w, r)
		}
	})
}

// admitted reports whether a request carries the token, or the cookie that it
// was changed for.
func admitted(r *http.Request, token string) bool {
	same := func(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }
	if t, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer "); ok {
		return same(t, token)
	}
	if q := r.URL.Query(); q.Has("token") {
		return same(q.Get("token"), token)
	}
	c, err := r.Cookie(cookieName(r.Host))
	return err == nil && same(c.Value, pass(token))
}

// cookieName tells the pages of several servers on one machine apart: cookies
// know no ports.
func cookieName(host string) string {
	_, port, err := net.SplitHostPort(host)
	if err != nil {
		port = "80"
	}
	return "coxswain-" + port
}

// pass is what a token is changed for. It outlives the server, so that a wall
// display comes back by itself, and does not tell the token.
func pass(token string) string {
	m := hmac.New(sha256.New, []byte(token))
	m.Write([]byte("coxswain session"))
	return base64.RawURLEncoding.EncodeToString(m.Sum(nil))
}

// NewToken returns a word that nobody guesses: 26 letters and digits, 130 bits.
func NewToken() string { return rand.Text() }

// localName reports whether a Host header names this machine's loopback, so
// that a page from elsewhere cannot reach us by a name of its own.
func localName(host string) bool {
	h, _, err := net.SplitHostPort(host)
	if err != nil {
		h = host
	}
	ip := net.ParseIP(strings.Trim(h, "[]"))
	return h == "localhost" || ip != nil && ip.IsLoopback()
}

// Loopback reports whether an address to listen on is this machine's own.
func Loopback(addr string) bool {
	h, _, err := net.SplitHostPort(addr)
	return err == nil && h != "" && localName(h)
}

// Package web has the pages: the wall display of a running session and the
// review of finished records, with their static files. No page loads anything
// from elsewhere, and none can stop a session.
package web

import (
	"crypto/subtle"
	"net"
	"net/http"
	"strings"
)

// Guard asks every request for the token, if there is one, and sets the
// headers that keep a page from loading or doing anything else.
func Guard(h http.Handler, token string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; media-src 'self'; form-action 'none'; frame-ancestors 'none'; base-uri 'none'")
		w.Header().Set("X-Content-Type-Options", "nosniff")
		w.Header().Set("Referrer-Policy", "no-referrer")
		w.Header().Set("Cache-Control", "no-store")
		given := strings.TrimPrefix(r.Header.Get("Authorization"), "Bearer ")
		if q := r.URL.Query().Get("token"); q != "" {
			given = q
		} else if k, err := r.Cookie("token"); err == nil && given == "" {
			given = k.Value
		}
		if token != "" && subtle.ConstantTimeCompare([]byte(given), []byte(token)) != 1 {
			http.Error(w, "a token is needed", http.StatusUnauthorized)
			return
		}
		if token != "" && r.URL.Query().Get("token") != "" { // the page's own files follow without it
			http.SetCookie(w, &http.Cookie{Name: "token", Value: token, HttpOnly: true, SameSite: http.SameSiteStrictMode, Path: "/"})
		}
		if token == "" && !localName(r.Host) { // a name that was made to point here
			http.Error(w, "unknown host", http.StatusMisdirectedRequest)
			return
		}
		h.ServeHTTP(w, r)
	})
}

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

package web

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"coxswain/cmd/coxswain/session"
)

// Three thousand connections that ask nothing are not kept: at most 64 stay, and
// who asks is answered all the same.
func TestIdleConnectionsAreNotKept(t *testing.T) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := NewServer(
		http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { io.WriteString(w, "here") }),
		time.Minute,
	)
	go s.Serve(ln)
	defer s.Close()
	var held []net.Conn
	defer func() {
		for _, c := range held {
			c.Close()
		}
	}()
	for k := range 3000 {
		c, err := net.Dial("tcp", ln.Addr().String())
		if err != nil {
			t.Fatalf("connection %d: %v", k, err)
		}
		if held = append(held, c); k%500 != 499 {
			continue
		}
		r, err := http.Get("http://" + ln.Addr().String())
		if err != nil {
			t.Fatalf("with %d idle ones: %v", k+1, err)
		}
		b, _ := io.ReadAll(r.Body)
		r.Body.Close()
		if string(b) != "here" {
			t.Errorf("with %d idle ones the answer is %q", k+1, b)
		}
		http.DefaultClient.CloseIdleConnections()
	}
	open := 0
	for end := time.Now().Add(10 * time.Second); ; { // a busy machine is late to close the last one
		open = 0
		for _, c := range held { // a closed one ends at once, an open one at the deadline
			c.SetReadDeadline(time.Now().Add(2 * time.Millisecond))
			if _, err := c.Read(make([]byte, 1)); errors.Is(err, os.ErrDeadlineExceeded) {
				open++
			}
		}
		if open <= mostConnections || time.Now().After(end) {
			break
		}
	}
	if open > mostConnections {
		t.Errorf("%d idle connections are open, want at most %d", open, mostConnections)
	}
}

// The ninth display is told that there are too many; when one goes another is
// let in.
func TestStreamsAreFew(t *testing.T) {
	box := &session.Box{}
	server := httptest.NewServer(Wall(box))
	defer server.Close()
	follow := func() (*http.Response, string) {
		r, err := http.Get(server.URL + "/events")
		if err != nil {
			t.Fatal(err)
		}
		line, _ := bufio.NewReader(r.Body).ReadString('\n')
		return r, line
	}
	var open []*http.Response
	for range mostStreams {
		r, line := follow()
		if open = append(open, r); !strings.HasPrefix(line, "data: ") {
			t.Fatalf("a display gets %q", line)
		}
	}
	if r, line := follow(); r.StatusCode != http.StatusServiceUnavailable ||
		!strings.Contains(line, fmt.Sprint(mostStreams)) {
		t.Errorf("one too many: %s %q", r.Status, line)
	}
	open[0].Body.Close()
	for begun := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		r, _ := follow()
		r.Body.Close()
		if r.StatusCode == http.StatusOK {
			break
		}
		if time.Since(begun) > time.Minute {
			t.Fatal("nobody is let in after one has gone")
		}
	}
	for _, r := range open[1:] {
		r.Body.Close()
	}
}

// Where there are few descriptors, connections take a quarter of them at most.
func TestFewDescriptors(t *testing.T) {
	for files, want := range map[uint64]int{1 << 20: 64, 1024: 64, 100: 25, 64: 16, 10: 8} {
		if got := mostFor(files); got != want {
			t.Errorf("%d files: %d connections, want %d", files, got, want)
		}
	}
	if n := descriptors(); n < 8 {
		t.Errorf("this process may open %d files", n)
	}
}

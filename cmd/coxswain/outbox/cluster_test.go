package outbox

import (
	"fmt"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
)

// patience is how long a test waits for what must happen: it says nothing of speed.
const patience = 2 * time.Minute

// cluster is a store of real servers, in this process.
type cluster struct {
	t       testing.TB
	options []*server.Options
	servers []*server.Server
}

// startCluster starts so many servers that know each other. A port that was free a moment ago may be somebody
// else's by now: then it takes others.
func startCluster(t testing.TB, n int, change ...func(*server.Options)) *cluster {
	t.Helper()
	for range 5 {
		c := newCluster(t, n, change...)
		if c.ready() {
			t.Cleanup(c.stopAll)
			return c
		}
		c.stopAll()
	}
	t.Fatal("the servers do not start")
	return nil
}

func (c *cluster) ready() bool {
	return !slices.ContainsFunc(c.servers, func(s *server.Server) bool { return !s.ReadyForConnections(patience / 4) })
}

func (c *cluster) stopAll() {
	for i := range c.servers {
		c.stop(i)
	}
}

func newCluster(t testing.TB, n int, change ...func(*server.Options)) *cluster {
	t.Helper()
	c := &cluster{t: t, servers: make([]*server.Server, n)}
	var routes []*url.URL
	var ports []int
	for range n {
		ports = append(ports, freePort(t))
		routes = append(routes, &url.URL{Scheme: "nats", Host: fmt.Sprintf("127.0.0.1:%d", ports[len(ports)-1])})
	}
	for i := range n {
		o := &server.Options{Host: "127.0.0.1", Port: freePort(t), ServerName: fmt.Sprintf("s%d", i), JetStream: true,
			StoreDir: t.TempDir(), NoLog: true, NoSigs: true, SyncInterval: time.Hour}
		if n > 1 {
			o.Cluster = server.ClusterOpts{Name: "test", Host: "127.0.0.1", Port: ports[i]}
			o.Routes = routes
		}
		for _, f := range change {
			f(o)
		}
		c.options = append(c.options, o)
		c.start(i)
	}
	return c
}

func (c *cluster) start(i int) {
	c.t.Helper()
	s, err := server.NewServer(c.options[i].Clone())
	if err != nil {
		c.t.Fatal(err)
	}
	c.servers[i] = s
	go s.Start()
}

func (c *cluster) stop(i int) {
	if s := c.servers[i]; s != nil {
		s.Shutdown()
		s.WaitForShutdown()
		c.servers[i] = nil
	}
}

// leader is which server leads the stream; -1: none does.
func (c *cluster) leader(stream string) int {
	for i, s := range c.servers {
		if s != nil && s.JetStreamIsStreamLeader(server.DEFAULT_GLOBAL_ACCOUNT, stream) {
			return i
		}
	}
	return -1
}

func (c *cluster) url() string {
	out := ""
	for _, o := range c.options {
		out += fmt.Sprintf(",nats://127.0.0.1:%d", o.Port)
	}
	return out[1:]
}

// created is the store, made, with as many replicas as there are servers.
func (c *cluster) created(change ...func(*Store)) Store {
	c.t.Helper()
	s := Store{URL: c.url(), Patience: 2 * time.Second}
	for _, f := range change {
		f(&s)
	}
	maker := s // in many short attempts: until the servers have a leader, none answers
	maker.Patience = 200 * time.Millisecond
	eventually(c.t, "the store can be made", func() bool { return maker.Create(c.t.Context(), len(c.servers), 0) == nil })
	return s
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// eventually waits until something is so.
func eventually(t testing.TB, what string, is func() bool) {
	t.Helper()
	for begun := time.Now(); !is(); time.Sleep(20 * time.Millisecond) {
		if time.Since(begun) > patience {
			t.Fatalf("in %v it never was so that %s", patience, what)
		}
	}
}

// wire is a network between a room and a server, which can be cut.
type wire struct {
	to    string
	l     net.Listener
	mu    sync.Mutex
	cut   bool
	bytes int64
	conns []net.Conn
}

func newWire(t testing.TB, to string) *wire {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{to: to, l: l}
	t.Cleanup(func() { l.Close(); w.set(true) })
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			go w.join(in)
		}
	}()
	return w
}

func (w *wire) join(in net.Conn) {
	out, err := net.Dial("tcp", w.to)
	w.mu.Lock()
	if err != nil || w.cut {
		w.mu.Unlock()
		in.Close()
		return
	}
	w.conns = append(w.conns, in, out)
	w.mu.Unlock()
	go w.pass(in, out)
	w.pass(out, in)
}

// pass carries bytes; what is on its way when the wire is cut is lost, and neither side
// is told: a cable that was pulled closes nothing.
func (w *wire) pass(from, to net.Conn) {
	buf := make([]byte, 32<<10)
	for {
		n, err := from.Read(buf)
		w.mu.Lock()
		cut := w.cut
		w.bytes += int64(n)
		w.mu.Unlock()
		if !cut && n > 0 {
			to.Write(buf[:n])
		}
		if err != nil {
			if !cut {
				to.Close()
			}
			return
		}
	}
}

// set cuts the wire or joins it; what was connected when it was cut stays dead.
func (w *wire) set(cut bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.cut = cut; !cut {
		for _, c := range w.conns {
			c.Close()
		}
		w.conns = nil
	}
}

func (w *wire) url() string { return "nats://" + w.l.Addr().String() }

// copyDir copies a record's folder.
func copyDir(t testing.TB, from, to string) {
	t.Helper()
	if err := os.CopyFS(to, os.DirFS(from)); err != nil {
		t.Fatal(err)
	}
}

// sizeOf is how many bytes a folder's files have.
func sizeOf(dir string) (n int64) {
	filepath.WalkDir(dir, func(_ string, d os.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			if st, err := d.Info(); err == nil {
				n += st.Size()
			}
		}
		return nil
	})
	return n
}

package monitor

import (
	"bytes"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"

	"coxswain/cmd/coxswain/outbox"
	"coxswain/cmd/coxswain/session"
)

// running is a session that looks like something, and what was asked of it.
func running(started *int) Watched {
	code, left := 125.0, 42.0
	s := Watched{Latest: &session.Box{}, Turns: func() int64 { return 1 }, Dropped: func() int64 { return 3 },
		Start: func() { *started++ }, Outbox: func() *outbox.State {
			return &outbox.State{Waiting: 2, Sent: 7, OldestS: 90, Refused: 1,
				Unfinished: 1, Failing: "the store does not answer"}
		}}
	s.Latest.Store(&session.Snapshot{Caution: "caution", State: "compressing", Session: 130, Code: &code, CycleLeft: &left, Healthy: true,
		Recogniser: "hears", Sound: "whole", Saving: true, Microphone: -48.2, Record: "2026-03-01T140000", Faults: 1, Callouts: 4,
		Due:   []session.Due{{Text: "Epinephrine due.", In: 55.2}, {Text: "Shock."}},
		Last:  []session.Heard{{Ago: 12, Text: "shock given, 200 J", Sure: 0.9}},
		Beats: session.Beats{Uneven: true, Off: 7, Lost: 1, Worst: 84.4, Most: 84.4, Past: [8]uint64{100, 5, 3, 2, 6, 4}, Sum: 1.25, Gone: 3}})
	return s
}

// tcp is a loopback address that is free.
func tcp(t *testing.T) (addr string, ln net.Listener) {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	return ln.Addr().String(), ln
}

// A running session answers on the socket in its records folder, for its own user only,
// and over HTTP; one that crashed has left a socket, which the next one takes.
func TestServe(t *testing.T) {
	records := t.TempDir()
	addr, ln := tcp(t)
	ln.Close()
	left, err := net.Listen("unix", SocketPath(records))
	if err != nil {
		t.Fatal(err)
	}
	left.(*net.UnixListener).SetUnlinkOnClose(false)
	left.Close()
	if _, err := Ask(t.Context(), records); err == nil || !strings.Contains(err.Error(), "coxswain run --records "+records) {
		t.Errorf("nobody answers: %v", err)
	}
	started := 0
	stop := Serve(Options{Records: records, HTTP: addr}, running(&started))
	defer stop()
	if st, err := os.Stat(SocketPath(records)); err != nil || st.Mode().Perm() != 0o600 {
		t.Errorf("socket: %v %v", st, err)
	}
	n, err := Ask(t.Context(), records)
	if err != nil || n.State != "compressing" || n.Callouts != 4 || n.Outbox.Waiting != 2 {
		t.Errorf("%+v %v", n, err)
	}
	if err := Start(t.Context(), records); err != nil || started != 1 {
		t.Errorf("%d starts: %v", started, err)
	}
	address, err := Display(t.Context(), records)
	if err != nil || !strings.HasPrefix(address, "http://"+addr+"/?token=") {
		t.Errorf("the display's address is %q: %v", address, err)
	}
	plain, _, _ := strings.Cut(address, "?")
	for url, want := range map[string]int{address: 200, plain: 401, plain + "health": 200, plain + "metrics": 200, plain + "status": 401} {
		r, err := http.Get(url)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != want {
			t.Errorf("%s: %s, want %d", url, r.Status, want)
		}
	}
	stop()
	if _, err := Ask(t.Context(), records); err == nil {
		t.Error("it answers after its end")
	}
}

// Where neither socket nor port can be had the session goes on, and the log says what is
// missing; a session without a wall display says so to who asks for it.
func TestServeWhatCanBe(t *testing.T) {
	var log bytes.Buffer
	before := slog.Default()
	defer slog.SetDefault(before)
	LogTo(&log, slog.LevelInfo)
	addr, taken := tcp(t)
	defer taken.Close()
	nowhere := filepath.Join(t.TempDir(), "none")
	Serve(Options{Records: nowhere, HTTP: addr}, Watched{Latest: &session.Box{}, Turns: func() int64 { return 1 }})()
	for _, want := range []string{"no status socket", "no wall display and there are no metrics", "the address of the wall display changes"} {
		if !strings.Contains(log.String(), want) {
			t.Errorf("the log does not say %q: %s", want, log.String())
		}
	}
	slog.Debug("whisper")
	if strings.Contains(log.String(), "whisper") {
		t.Error("what lies below the level is logged")
	}
	records := t.TempDir()
	defer Serve(Options{Records: records}, Watched{Latest: &session.Box{}, Turns: func() int64 { return 1 }})()
	if address, err := Display(t.Context(), records); err == nil || !strings.Contains(err.Error(), "no wall display") {
		t.Errorf("%q %v", address, err)
	}
	if err := Start(t.Context(), records); err == nil {
		t.Error("started what cannot be")
	}
}

// An address that another program has is no wall display of ours: whoever asks for it is
// not sent to that one, which may be another patient's, and the status says why.
func TestAddressIsTaken(t *testing.T) {
	addr, taken := tcp(t)
	defer taken.Close()
	records := t.TempDir()
	defer Serve(Options{Records: records, HTTP: addr, Token: "word"}, Watched{Latest: &session.Box{}, Turns: func() int64 { return 1 }})()
	if address, err := Display(t.Context(), records); err == nil || !strings.Contains(err.Error(), "address was taken") {
		t.Errorf("the display's address is %q: %v", address, err)
	}
	n, err := Ask(t.Context(), records)
	if err != nil || len(n.Notices) != 1 || !strings.Contains(n.Notices[0], "--http") {
		t.Errorf("%v: the status says %q", err, n.Notices)
	}
}

// What answers on the socket and is no coxswain is told from one.
func TestAskWhatIsNone(t *testing.T) {
	records := t.TempDir()
	ln, err := net.Listen("unix", SocketPath(records))
	if err != nil {
		t.Fatal(err)
	}
	s := &http.Server{Handler: http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { fmt.Fprint(w, "hello") })}
	go s.Serve(ln)
	defer s.Close()
	if _, err := Ask(t.Context(), records); err == nil || !strings.Contains(err.Error(), "not an answer of coxswain") {
		t.Error(err)
	}
}

// A person reads how the session stands, what is due, what was heard, and what waits.
func TestPrint(t *testing.T) {
	var out bytes.Buffer
	started := 0
	s := running(&started).status()
	if err := Print(&out, &s); err != nil {
		t.Fatal(err)
	}
	const want = `compressing; session 2:10.0, code 2:05.0, cycle left 0:42.0
due in 55 s: Epinephrine due.
due for 0 s: Shock.
12 s ago: shock given, 200 J (90 %)
outbox: 2 records wait, the oldest for 1m30s; 7 are in the store; 2 are not whole: see coxswain verify and mend; the store does not answer
recogniser: hears; sound: whole; microphone -48 dBFS; record 2026-03-01T140000, saved: true; faults: 1
metronome: UNEVEN, try buffer_ms 200; of 123 ticks 10 were more than 20 ms off (by up to 84 ms), 3 did not sound; of the last 20 7 and 1
caution
`
	if out.String() != want {
		t.Errorf("it says\n%swant\n%s", out.String(), want)
	}
	out.Reset()
	if err := Print(&out, &Status{Snapshot: new(session.Box).Load()}); err != nil || !strings.Contains(out.String(), "code -, cycle left -") ||
		strings.Contains(out.String(), "outbox") || !strings.Contains(out.String(), "metronome: silent") {
		t.Errorf("%v: without a code it says %s", err, out.String())
	}
}

// The room on a disk is that for an ordinary user; a folder that is not there is an
// error, as is a clock that nobody keeps.
func TestHost(t *testing.T) {
	if n, err := FreeBytes(t.TempDir()); err != nil || n <= 0 {
		t.Errorf("%d bytes are free: %v", n, err)
	}
	if _, err := FreeBytes("/nowhere/at/all"); err == nil || !strings.Contains(err.Error(), "/nowhere/at/all") {
		t.Error(err)
	}
	if said, err := CheckClock(); (err == nil) != strings.HasPrefix(said, "synchronised") && said != "not checked on this system" {
		t.Errorf("%q %v", said, err)
	}
}

// The histogram of the ticks is what Prometheus's own parser takes for one: bounds that
// rise, counts that include those below (exposition format 0.0.4).
func TestTicksInMetrics(t *testing.T) {
	started := 0
	w := httptest.NewRecorder()
	Handler(running(&started)).ServeHTTP(w, httptest.NewRequest("GET", "http://127.0.0.1/metrics", nil))
	parser := expfmt.NewTextParser(model.UTF8Validation)
	all, err := parser.TextToMetricFamilies(w.Body)
	if err != nil {
		t.Fatal(err)
	}
	h := all["coxswain_beat_off_seconds"].GetMetric()[0].GetHistogram()
	if h.GetSampleCount() != 120 || h.GetSampleSum() != 1.25 || len(h.GetBucket()) != 8 {
		t.Fatalf("histogram %v", h)
	}
	last, bound := uint64(0), 0.0
	for _, b := range h.GetBucket() {
		if b.GetCumulativeCount() < last || b.GetUpperBound() <= bound {
			t.Errorf("bucket %v behind %v", b, last)
		}
		last, bound = b.GetCumulativeCount(), b.GetUpperBound()
	}
	if n := all["coxswain_beats_lost_total"].GetMetric()[0].GetCounter().GetValue(); n != 3 {
		t.Errorf("%v lost, want 3", n)
	}
	if even := all["coxswain_beat_even"].GetMetric()[0].GetGauge().GetValue(); even != 0 {
		t.Errorf("even is %v, want 0", even)
	}
}

package live

import (
	"os"
	"syscall"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/audio/audiotest"
	"coxswain/cmd/coxswain/coxtest"
	"coxswain/timeline"
)

// A process that is stopped and goes on, and loses its sound server on top: the
// record is as long as the wall clock says, within 0.1 s, and every second that
// was lost is logged. 12 stops, 200 in `make soak`.
func TestClockOfAStoppedProcess(t *testing.T) {
	if testing.Short() {
		t.Skip("most of a minute of real time")
	}
	t.Parallel()
	card := audiotest.NewCard(t, false)
	server := card.Start(t, audio.Rate)
	l := startLive(t, card.Env, t.TempDir(), "--recogniser", coxtest.Recogniser(t, "ear"))
	l.await("a callout", func(e []timeline.Event) bool { return coxtest.Count(e, timeline.AccessIV, "") > 0 })
	stops, length := 12, time.Second
	if os.Getenv("SOAK") != "" {
		stops = 200
	}
	stopped := time.Duration(0)
	for k := range stops {
		l.cmd.Process.Signal(syscall.SIGSTOP)
		begun := time.Now()
		time.Sleep(length)
		l.cmd.Process.Signal(syscall.SIGCONT)
		stopped += time.Since(begun)
		time.Sleep(time.Second)
		if k == stops/2 {
			server.Process.Kill()
			server.Wait()
			server = card.Start(t, audio.Rate)
			time.Sleep(2 * time.Second)
		}
	}
	defer func() { server.Process.Kill(); server.Wait() }()
	asked := time.Now()
	dir := l.stop()
	ended := time.Now()
	events, samples, err := coxtest.Whole(dir)
	if err != nil {
		t.Fatal(err)
	}
	got := onTheWall(t, events, samples, asked, ended)
	logged := 0
	for _, e := range events {
		if e.Kind == timeline.Fault {
			t.Log(e.At, e.Describe())
			logged++
		}
	}
	if logged < stops/2 { // gaps that lie together are logged as one
		t.Errorf("%d gaps are logged of %d stops", logged, stops)
	}
	t.Logf("stopped for %v in all, the record is %v long", stopped.Round(time.Millisecond), got)
}

// onTheWall holds the length of a record to the time that passed on the wall clock
// until its session was asked to end, and until it had, within 0.1 s.
func onTheWall(t *testing.T, events []timeline.Event, samples int64, asked, ended time.Time) time.Duration {
	t.Helper()
	began, err := time.Parse(time.RFC3339Nano, events[0].Session.Wall)
	if err != nil {
		t.Fatal(err)
	}
	const bound = 100 * time.Millisecond
	got := audio.Duration(samples)
	t.Logf("the record is %v long, the wall says %v to %v", got, asked.Sub(began), ended.Sub(began))
	if least, most := asked.Sub(began)-bound, ended.Sub(began)+bound; got < least || got > most {
		t.Errorf("the record is %v long, want %v to %v", got, least, most)
	}
	return got
}

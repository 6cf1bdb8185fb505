package live

import (
	"os"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"

	"coxswain/audio/audiotest"
	"coxswain/cmd/coxswain/coxtest"
	"coxswain/timeline"
)

// A log that nobody reads, or whose reader has gone, neither stops nor ends the
// session: callouts are taken and answered, and SIGHUP closes the record in
// order, as SIGTERM does.
func TestLogThatNobodyReads(t *testing.T) {
	for _, c := range []struct {
		name string
		gone bool
		end  syscall.Signal
	}{{"full pipe", false, syscall.SIGTERM}, {"reader gone", true, syscall.SIGHUP}} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			env, stop := audiotest.SoundServer(t, false)
			defer stop()
			r, w, err := os.Pipe()
			if err != nil {
				t.Fatal(err)
			}
			defer r.Close()
			if _, err := unix.FcntlInt(w.Fd(), unix.F_SETPIPE_SZ, 4096); err != nil {
				t.Skip(err)
			}
			if c.gone {
				r.Close()
			} else if _, err := w.Write(make([]byte, 4096)); err != nil {
				t.Fatal(err)
			}
			l := startLiveTo(t, w, env, t.TempDir(), "--recogniser", coxtest.Recogniser(t, "ear"), "--log-level", "debug")
			w.Close()
			l.await("three read-backs", func(e []timeline.Event) bool { return coxtest.Count(e, timeline.CueSpoken, "said.access.iv") >= 3 })
			if _, _, err := coxtest.Whole(l.stopBy(c.end)); err != nil {
				t.Error(err)
			}
		})
	}
}

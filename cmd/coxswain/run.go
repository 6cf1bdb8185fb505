package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os/signal"
	"path/filepath"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/intents"
	"coxswain/timeline"
)

func newRun(c *conf) *cobra.Command {
	return &cobra.Command{
		Use: "run", Short: "Listen and speak: microphone in, loudspeaker out, until SIGTERM",
		Long: `Run a session on the sound device until SIGTERM or Ctrl-C. The record goes into
a new folder under --records, named by the time it began. A session that was cut
off (crash, power cut) less than --resume-minutes ago goes on: its clock, cycle
and intervals are right, the gap is in the log and spoken once.

` + Caution,
		Example: `  coxswain run
  coxswain run --records /var/lib/coxswain --rate 105
  coxswain run --input "USB Audio: - (hw:1,0)" --recogniser pocketsphinx`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			fmt.Fprintln(cmd.ErrOrStderr(), Caution)
			_, err := runLive(cmd.Context(), c, nil, cmd.ErrOrStderr())
			return err
		},
	}
}

// runLive runs a session on the sound device until SIGTERM or SIGINT or, in a
// drill, until the case is over. It returns the record's folder.
func runLive(ctx context.Context, c *conf, drill *timeline.Case, stderr io.Writer) (string, error) {
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM, syscall.SIGINT)
	defer stop()
	unlock, err := lockRecords(c.v.GetString("records"))
	if err != nil {
		return "", err
	}
	defer unlock()
	v, err := c.vocabulary()
	if err != nil {
		return "", err
	}
	ear, err := c.plugIn(intents.ProcessOptions{Vocabulary: v, Stderr: stderr})
	if err != nil {
		return "", err
	}
	e := audio.NewExchange(10)
	dev, err := audio.OpenDevice(c.v.GetString("input"), c.v.GetString("output"), e)
	if err != nil {
		ear.Close()
		return "", err
	}
	now := time.Now()
	dir := filepath.Join(c.v.GetString("records"), now.Format("2006-01-02T150405"))
	var resume cut
	if drill == nil {
		if resume = findCut(c.v.GetString("records"), now, time.Duration(c.v.GetInt("resume_minutes"))*time.Minute); resume.dir != "" {
			dir = resume.dir
		}
	}
	s, err := newSession(sessionOptions{conf: c, vocabulary: v, dir: dir, ear: ear, recogniser: ear.Name(), source: "device", wall: now, live: true, drill: drill, resume: resume})
	if err != nil {
		dev.Close()
		ear.Close()
		return "", err
	}
	slog.Info("listening", "record", dir, "recogniser", ear.Name())
	l := &live{c: c, s: s, e: e, dev: dev}
	l.loop(ctx)
	if l.dev != nil {
		l.dev.Close()
	}
	slog.Info("stopped", "record", dir, "length", audio.Duration(s.pos).Round(time.Second).String())
	return dir, s.Close()
}

// live drives a session from a device, and brings the device back when it dies.
type live struct {
	c       *conf
	s       *session
	e       *audio.Exchange
	dev     *audio.Device
	base    uint64 // starved blocks already made up for
	lost    uint64
	calls   uint64
	since   time.Time // up to here the clock has been kept
	died    time.Time // of the last callback of a dead stream
	retryAt time.Time
	backoff time.Duration
}

// silentAfter is how long a stream may be silent before it counts as dead:
// PortAudio does not tell when a device is lost.
const silentAfter = 250 * time.Millisecond

func (l *live) loop(ctx context.Context) {
	tick := time.NewTicker(4 * time.Millisecond)
	defer tick.Stop()
	l.since = time.Now()
	var f audio.Frame
	for {
		select {
		case <-ctx.Done():
			return
		case now := <-tick.C:
			for l.e.Next(&f) {
				l.send(l.s.Step(f.Room[:], f.Speaker[:]))
			}
			l.watch(now)
			if l.s.over {
				return
			}
		}
	}
}

// send queues a rendered block, unless its moment has passed: for every block
// that the speaker ran dry, one is left out, so that the beat stays on the clock.
func (l *live) send(block []float32) {
	starved, lost, _ := l.e.Troubles()
	if starved > l.base {
		l.base++
		return
	}
	if lost > l.lost {
		l.s.fault("fault", "fault.device", fmt.Sprintf("%d blocks of sound were lost", lost-l.lost))
		l.lost = lost
	}
	l.e.Send(block)
}

// watch reopens the device when its callback has stopped.
func (l *live) watch(now time.Time) {
	if n := l.e.Calls(); n != l.calls {
		l.calls, l.since = n, now
		return
	}
	if now.Sub(l.since) < silentAfter || now.Before(l.retryAt) {
		return
	}
	if l.dev != nil {
		l.dev.Close()
		l.dev, l.died = nil, l.since
		slog.Warn("sound stream died; opening it again")
	}
	l.catchUp(now)
	fresh := audio.NewExchange(10)
	dev, err := audio.OpenDevice(l.c.v.GetString("input"), l.c.v.GetString("output"), fresh)
	if err != nil {
		l.backoff = min(max(250*time.Millisecond, 2*l.backoff), 5*time.Second)
		l.retryAt = time.Now().Add(l.backoff)
		if !errors.Is(err, audio.ErrNoDevice) {
			slog.Debug("reopen", "error", err)
		}
		return
	}
	gap := time.Since(l.died)
	l.e, l.dev, l.base, l.lost, l.calls, l.since, l.backoff = fresh, dev, 0, 0, 0, time.Now(), 0
	l.s.fault("fault", "fault.device", fmt.Sprintf("sound was lost for %v", gap.Round(time.Millisecond)))
}

// catchUp lets the session clock go on while there is no sound, so that the
// cycle and the intervals stay right.
func (l *live) catchUp(now time.Time) {
	var silence [audio.Block]float32
	for behind := now.Sub(l.since); behind >= 10*time.Millisecond; behind -= 10 * time.Millisecond {
		l.s.Step(silence[:], silence[:])
		l.since = l.since.Add(10 * time.Millisecond)
	}
}

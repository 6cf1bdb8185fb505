package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/audio/device"
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
	l, err := openLive(ctx, c)
	if err != nil {
		ear.Close()
		return "", err
	}
	now := time.Now()
	o := sessionOptions{conf: c, vocabulary: v, dir: filepath.Join(c.v.GetString("records"), now.Format("2006-01-02T150405")), ear: ear, recogniser: ear.Name(), source: "device", wall: now, live: true, drill: drill}
	if drill == nil {
		if o.resume = findCut(c.v.GetString("records"), now, time.Duration(c.v.GetInt("resume_minutes"))*time.Minute); o.resume.dir != "" {
			o.dir = o.resume.dir
		}
	}
	if l.s, err = newSession(o); err != nil {
		l.dev.Close()
		ear.Close()
		return "", err
	}
	debug.SetGCPercent(50) // memory is worth more than a collection a second
	slog.Info("listening", "record", o.dir, "recogniser", ear.Name())
	stopServing := serveStatus(c, l)
	l.loop(ctx)
	if l.dev != nil {
		l.dev.Close()
	}
	err = l.s.Close()
	stopServing()
	slog.Info("stopped", "record", o.dir, "length", audio.Duration(l.s.pos).Round(time.Second).String())
	return o.dir, err
}

// openLive opens the sound device, waiting for one as long as is configured.
func openLive(ctx context.Context, c *conf) (*live, error) {
	l := &live{asleep: asleep, within: max(time.Duration(c.v.GetInt("resume_minutes"))*time.Minute, 10*time.Minute)}
	l.open = func(e *audio.Exchange) (sound, error) {
		d, err := device.Open(c.v.GetString("input"), c.v.GetString("output"), e)
		if err != nil { // not a nil *Device in an interface
			return nil, err
		}
		return d, nil
	}
	for begun := time.Now(); ; {
		l.e = audio.NewExchange(10)
		var err error
		if l.dev, err = l.open(l.e); err == nil {
			return l, nil
		}
		if time.Since(begun) >= time.Duration(c.v.GetInt("wait_device_s"))*time.Second {
			return nil, err
		}
		slog.Warn("waiting for a sound device", "why", err)
		select {
		case <-ctx.Done():
			return nil, err
		case <-time.After(time.Second):
		}
	}
}

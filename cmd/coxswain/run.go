package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/debug"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/audio/device"
	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/session"
	"coxswain/intents"
	"coxswain/prompts"
	"coxswain/timeline/record"
)

func newRun(c *config.Config) *cobra.Command {
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
			_, err := runLive(cmd.Context(), c, practice{}, cmd.ErrOrStderr())
			return err
		},
	}
}

// runLive runs a session on the sound device until SIGTERM or SIGINT or, in a
// drill, until the case is over. It returns the record's folder.
func runLive(ctx context.Context, c *config.Config, p practice, stderr io.Writer) (string, error) {
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP)
	defer stop()
	signal.Notify(make(chan os.Signal, 1), syscall.SIGPIPE) // a log without a reader ends nothing
	log := monitor.NewLog(stderr)
	defer log.Close()
	logTo(log, c)
	fmt.Fprintln(log, Caution)
	unlock, err := record.LockFolder(c.Folder)
	if err != nil {
		return "", err
	}
	defer unlock()
	v, err := intents.LoadVocabulary(c.Vocabulary...)
	if err != nil {
		return "", err
	}
	ear, err := startPlugIn(c.Recogniser, intents.ProcessOptions{Vocabulary: v, Stderr: log})
	if err != nil {
		return "", err
	}
	so, err := sessionOptions(c, v, true)
	if err != nil {
		ear.Close()
		return "", err
	}
	l, err := openLive(ctx, c)
	if err != nil {
		ear.Close()
		return "", err
	}
	defer l.Close()
	now := time.Now()
	so.Ear, so.Recogniser, so.Source, so.Wall, so.Live = ear, ear.Name(), "device", now, true
	p.on(&so)
	w, err := openRecord(c, now, p.drill == nil)
	if err != nil {
		ear.Close()
		return "", err
	}
	dir := w.Dir
	s, err := newSession(so, w)
	if err != nil {
		ear.Close()
		return "", err
	}
	debug.SetGCPercent(50) // memory is worth more than a collection a second
	slog.Info("listening", "record", dir, "recogniser", ear.Name())
	where := monitor.Options{Records: c.Folder, HTTP: c.HTTP, Open: c.Open, Token: c.Token}
	stopServing := monitor.Serve(where, monitor.Watched{Latest: s.Latest(), Turns: l.Turns, Dropped: log.Dropped})
	l.Run(ctx, s)
	l.Close()
	err = s.Close()
	stopServing()
	slog.Info("stopped", "record", dir, "length", audio.Duration(s.Pos()).Round(time.Second).String())
	return dir, err
}

// openLive opens the sound device, waiting for one as long as is configured.
func openLive(ctx context.Context, c *config.Config) (*session.Live, error) {
	open := func(e *audio.Exchange) (session.Sound, error) {
		d, err := device.Open(device.Options{Input: c.Input, Output: c.Output}, e)
		if err != nil { // not a nil *Device in an interface
			return nil, err
		}
		return d, nil
	}
	within := max(c.Resume(), 10*time.Minute)
	return session.OpenLive(ctx, open, c.WaitDevice(), within)
}

// session is what the configuration says of a session.
func sessionOptions(c *config.Config, v *intents.Vocabulary, hearsItself bool) (o session.Options, err error) {
	o = session.Options{Vocabulary: v, Rate: float64(c.Rate), Mode: c.Mode, Volume: c.Volume,
		Echo: hearsItself && c.CancelEcho, LoopDelay: c.LoopDelay(), Software: "coxswain " + Version}
	if o.Protocol, err = protocol(c); err != nil {
		return o, err
	}
	if o.Voice, err = prompts.NewVoice(c.Clips); err != nil {
		return o, err
	}
	if o.Voice, err = o.Voice.In(o.Protocol.Words); err != nil {
		return o, fmt.Errorf("protocol %s: %w", o.Protocol.ID, err)
	}
	return o, nil
}

// openRecord opens the record of a session that begins now: a new one, or that of
// a session that was cut off a moment ago.
func openRecord(c *config.Config, now time.Time, resume bool) (*record.Writer, error) {
	if resume {
		if r := record.FindCut(c.Folder, now, c.Resume()); r != nil {
			w, err := r.Resume(now)
			if err == nil {
				return w, nil
			}
			slog.Warn("a session that was cut off cannot go on: a new one begins", "record", r.Dir, "why", err)
		}
	}
	dir, err := record.NewFolder(c.Folder, now)
	if err != nil {
		return nil, err
	}
	return record.Begin(dir, now)
}

// newSession starts a session in a record, and closes the record if it cannot.
func newSession(o session.Options, w *record.Writer) (*session.Session, error) {
	o.Journal, o.Sound, o.Record = w.Journal, w.Sound, filepath.Base(w.Dir)
	o.Resume = session.Resume{Events: w.Events, Had: w.Had, Pos: w.Pos}
	s, err := session.New(o)
	if err != nil {
		w.Sound.Close()
		w.Journal.Close()
	}
	return s, err
}

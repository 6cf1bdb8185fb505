package main

import (
	"context"
	"errors"
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
	"coxswain/timeline"
	"coxswain/timeline/record"
)

func newRun(c *config.Config) *cobra.Command {
	return &cobra.Command{
		Use: "run", Short: "Listen and speak: microphone in, loudspeaker out, until SIGTERM",
		Long: `Listen on the sound device until SIGTERM or Ctrl-C. The first callout of a case
(or coxswain start) begins a record, in a new folder under --records that is named
by the time it begins, with the minute of sound before it; the confirmed end, or
20 minutes without a callout, ends it. Between cases nothing is written; with
--record always a record runs all the time. A case that was cut
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
	so.Ear, so.Recogniser, so.Source, so.Wall, so.Live = ear, ear.Name(), "device", time.Now(), true
	p.on(&so)
	last := "" // the folder of the last record
	so.Begin = recordsIn(c, &last)
	if p.drill == nil {
		so.Resume = resume(c, so.Wall)
	}
	s, err := session.New(so)
	if err != nil {
		ear.Close()
		return "", err
	}
	debug.SetGCPercent(50) // memory is worth more than a collection a second
	slog.Info("listening", "records", c.Folder, "recogniser", ear.Name())
	where := monitor.Options{Records: c.Folder, HTTP: c.HTTP, Open: c.Open, Token: c.Token}
	stopServing := monitor.Serve(where, monitor.Watched{Latest: s.Latest(), Turns: l.Turns, Dropped: log.Dropped, Start: s.Start})
	l.Run(ctx, s)
	l.Close()
	err = s.Close()
	stopServing()
	slog.Info("stopped", "records", c.Folder, "length", audio.Duration(s.Pos()).Round(time.Second).String())
	return last, err
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

// sessionOptions are what the configuration says of a session.
func sessionOptions(c *config.Config, v *intents.Vocabulary, hearsItself bool) (o session.Options, err error) {
	o = session.Options{Vocabulary: v, Rate: float64(c.Rate), Mode: c.Mode, Volume: c.Volume,
		Echo: hearsItself && c.CancelEcho, LoopDelay: c.LoopDelay(),
		Always: c.Keep == "always", Before: c.Before(), Silence: c.Silence(), Software: "coxswain " + Version}
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

// resume goes on with the case that was cut off a moment ago, if there is one.
func resume(c *config.Config, now time.Time) session.Resume {
	r := record.FindCut(c.Folder, now, c.Resume())
	if r == nil {
		return session.Resume{}
	}
	w, err := r.Resume(now)
	if err != nil {
		slog.Warn("a session that was cut off cannot go on", "record", r.Dir, "why", err)
		return session.Resume{}
	}
	return session.Resume{Kept: kept(w), Had: w.Had, Pos: w.Pos}
}

// recordsIn returns how to begin records in the records folder or, where that
// cannot be written to, in the fallback; last is the folder of the last one.
func recordsIn(c *config.Config, last *string) session.Begin {
	return func(wall time.Time, had []timeline.Event, pos int64) (session.Kept, error) {
		var errs []error
		for _, folder := range []string{c.Folder, c.Fallback()} {
			dir, err := record.NewFolder(folder, wall)
			if err == nil {
				var k session.Kept
				if k, err = begin(dir, wall, had, pos); err == nil {
					*last = dir
					if folder != c.Folder || len(had) > 0 {
						slog.Error("the record is written elsewhere", "record", dir, "because", errors.Join(errs...))
					}
					return k, nil
				}
				os.Remove(dir) // only if nothing is in it
			}
			errs = append(errs, err)
		}
		return session.Kept{}, errors.Join(errs...)
	}
}

// begin starts a record in a folder, with what belongs to it already.
func begin(dir string, wall time.Time, had []timeline.Event, pos int64) (session.Kept, error) {
	w, err := record.BeginAnew(dir, wall, had, pos)
	if err != nil {
		return session.Kept{}, err
	}
	return kept(w), nil
}

func kept(w *record.Writer) session.Kept {
	return session.Kept{Name: filepath.Base(w.Dir), Journal: w.Journal, Sound: w.Sound, Events: w.Events, Intact: w.Intact}
}

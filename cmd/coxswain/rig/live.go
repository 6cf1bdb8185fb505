package rig

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
	"time"

	"coxswain/audio"
	"coxswain/audio/device"
	"coxswain/cmd/coxswain/again"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/session"
	"coxswain/intents"
	"coxswain/timeline/record"
)

// Live runs a session on the sound device until SIGTERM or SIGINT or, in a
// drill, until the case is over. It returns the record's folder.
func (r Rig) Live(ctx context.Context, p Practice) (string, error) {
	c := r.Config
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM, syscall.SIGINT, syscall.SIGHUP)
	defer stop()
	signal.Notify(make(chan os.Signal, 1), syscall.SIGPIPE) // a log without a reader ends nothing
	log := monitor.NewLog(r.Stderr)
	defer log.Close()
	monitor.LogTo(log, c.Level())
	fmt.Fprintln(log, session.Caution)
	notices := &monitor.Notices{}
	unlock, err := r.lock(notices)
	if err != nil {
		return "", err
	}
	defer unlock()
	v, err := intents.LoadVocabulary(c.Vocabulary...)
	if err != nil {
		return "", err
	}
	r.lacks(v)
	ear, profile, err := r.openEar(v, log)
	if err != nil {
		return "", err
	}
	so, err := r.Options(v, true)
	if err != nil {
		ear.Close()
		return "", err
	}
	l, err := r.openLive(ctx)
	if err != nil {
		ear.Close()
		return "", err
	}
	defer l.Close()
	so.Ear, so.Recogniser, so.Profile, so.Source = ear, ear.Name(), profile, "device"
	so.Wall, so.Boot, so.Live, so.Lead = time.Now(), record.Uptime(), true, audio.LeadFor(c.Buffer())
	p.on(&so)
	last := "" // the folder of the last record
	so.Begin = r.recordsIn(&last, notices)
	if p.Case == nil {
		so.Resume = r.resume(so.Wall, notices)
	}
	s, err := session.New(so)
	if err != nil {
		ear.Close()
		return "", err
	}
	p.looked(s)
	debug.SetGCPercent(50) // memory is worth more than a collection a second
	slog.Info("listening", "records", c.Folder, "recogniser", ear.Name())
	watched := monitor.Watched{Latest: s.Latest(), Turns: l.Turns, Dropped: log.Dropped, Start: s.Start, Notices: notices}
	defer r.sending(log, p, &watched)()
	stopServing := monitor.Serve(monitor.Options{Records: c.Folder, HTTP: c.HTTP, Open: c.Open, Token: c.Token}, watched)
	r.drive(ctx, l, s, log)
	err = s.Close()
	stopServing()
	return last, r.stopped(s, notices, err)
}

// drive runs a session on its device. If this process can have no sound any more it ends as a crash
// does: whoever keeps coxswain going starts it again, and the case goes on.
func (r Rig) drive(ctx context.Context, l *session.Live, s *session.Session, log *monitor.Log) {
	l.Run(ctx, s)
	if l.Spent() {
		r.forgive()
		slog.Error("this process holds the sound device and cannot use it; ending without closing the record")
		time.Sleep(200 * time.Millisecond) // for what is on its way to the disk
		log.Close()
		os.Exit(again.Crashed)
	}
	l.Close()
}

// stopped says how long a session was, how its metronome sounded, and what was noticed; it
// passes on how the session ended.
func (r Rig) stopped(s *session.Session, notices *monitor.Notices, err error) error {
	for _, text := range notices.All() {
		slog.Warn("noticed", "what", text)
	}
	slog.Info("stopped", "records", r.Folder, "length", audio.Duration(s.Pos()).Round(time.Second).String(),
		"metronome", s.Latest().Load().Beats.String())
	return err
}

// openLive opens the sound device, waiting for one as long as is configured.
func (r Rig) openLive(ctx context.Context) (*session.Live, error) {
	if err := r.storeSettings(); err != nil {
		return nil, err
	}
	c, told, up := r.Config, "", false
	open := func(e *audio.Exchange) (session.Sound, error) {
		if !up {
			monitor.Starting()
		}
		d, err := device.Open(device.Options{Input: c.Input, Output: c.Output, Buffer: c.Buffer()}, e)
		switch { // not a nil *Device in an interface
		case err != nil && device.LeftBehind():
			return nil, fmt.Errorf("%w: %w", session.ErrSpent, err)
		case err != nil:
			return nil, err
		case d.Why() != nil && d.Why().Error() != told: // looked for again and again, told once
			told = d.Why().Error()
			slog.Warn("the sound lacks a side", "no", d.Missing(), "why", told)
		}
		return d, nil
	}
	within := max(c.Resume(), 10*time.Minute)
	l, err := session.OpenLive(ctx, open, c.Buffer(), c.WaitDevice(), within)
	up = true // from now on the loop's turns count
	return l, err
}

package rig

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"coxswain/audio"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/session"
	"coxswain/intents"
	"coxswain/timeline"
)

// keyboard is an ear that hears what is typed.
type keyboard struct {
	typed *intents.Typed
	heard int64
	next  []intents.Result
}

// Hear implements intents.Ear.
func (k *keyboard) Hear(pcm []int16) ([]intents.Result, []string) {
	k.heard += int64(len(pcm))
	out := k.next
	k.next = nil
	for i := range out {
		out[i].Start, out[i].End, out[i].Decided = k.heard-int64(len(pcm)), k.heard, k.heard
	}
	return out, nil
}

// Close implements intents.Ear.
func (k *keyboard) Close() []intents.Result { return nil }

// Typed runs a drill without a sound device: a line is a callout at the
// moment it is typed or, if it begins with a time (0:14), at that moment, to
// which the clock then runs at once. It ends with the case, with the input
// after times, or with ctx. The record's folder is returned: out or, if that is empty,
// one among the records.
func (r Rig) Typed(ctx context.Context, p Practice, out string, in io.Reader) (string, error) {
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM, syscall.SIGINT)
	defer stop()
	p.Watch = speakOn(r.Stderr)
	fmt.Fprintln(r.Stderr, `Type callouts as on the card ("shock delivered 200 joules"). Ctrl-D ends the drill;
after lines with times it runs on to the end of the case.`)
	refused := func(err error) { fmt.Fprintln(r.Stderr, "coxswain:", err) }
	return r.keyed(ctx, p, out, linesOf(ctx, in), &terminal{refused: refused, stays: true})
}

// keyed runs a drill over lines from anywhere.
func (r Rig) keyed(
	ctx context.Context, p Practice, out string, lines <-chan string, t *terminal,
) (string, error) {
	v, err := intents.LoadVocabulary(r.Vocabulary...)
	if err != nil {
		return "", err
	}
	k := &keyboard{}
	if k.typed, err = intents.NewTyped(v); err != nil {
		return "", err
	}
	o, err := r.Options(v, false)
	if err != nil {
		return "", err
	}
	o.Ear, o.Recogniser, o.Source, o.Wall = k, "typed", "typed", time.Now()
	p.on(&o)
	if o.Watch = t.count; p.Watch != nil {
		o.Watch = func(e timeline.Event) { t.count(e); p.Watch(e) }
	}
	last := "" // the folder of the record
	o.Begin = r.recordsIn(&last, &monitor.Notices{})
	if out != "" {
		if err := usable(out); err != nil {
			return "", err
		}
		last, o.Begin = out, inOrder(out, &[]string{})
	}
	s, err := session.New(o)
	if err != nil {
		return "", err
	}
	p.looked(s)
	t.session, t.keyboard, t.exchange = s, k, audio.NewExchange(1)
	t.run(ctx, lines)
	err = s.Close()
	return last, err
}

// speakOn prints what is said, and what the case tells.
func speakOn(w io.Writer) func(timeline.Event) {
	return func(e timeline.Event) {
		who := "coxswain"
		if e.Cue == "drill" {
			who = "case"
		}
		if e.Kind == timeline.CueSpoken && !e.Cut { // cut off: it was printed when it began
			fmt.Fprintf(w, "%8s  %s: %s\n", e.At, who, e.Sentence)
		}
	}
}

// longest is how long a line can be that is a callout, in bytes.
const longest = 1000

// linesOf passes on lines until the input ends; of one that is too long so much that it can be told.
func linesOf(ctx context.Context, in io.Reader) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		var line []byte
		for r := bufio.NewReader(in); ; {
			part, more, err := r.ReadLine()
			if line = append(line, part...); more {
				line = line[:min(len(line), longest+1)]
				continue
			}
			if err != nil {
				return
			}
			select {
			case lines <- string(line):
			case <-ctx.Done():
				return
			}
			line = line[:0]
		}
	}()
	return lines
}

// terminal drives a session block by block: by the wall clock while lines come
// without times, as fast as it can where they have one.
type terminal struct {
	session  *session.Session
	keyboard *keyboard
	exchange *audio.Exchange
	refused  func(error) // is told of a line that is no callout
	stays    bool        // after a line with a time the clock stays there, until the next
	timed    bool
	events   int // that were appended
}

func (t *terminal) count(timeline.Event) { t.events++ }

func (t *terminal) run(ctx context.Context, lines <-chan string) {
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	began := time.Now()
	for !t.session.Over() {
		select {
		case <-ctx.Done():
			return
		case line, more := <-lines:
			if !more && t.timed {
				for !t.session.Over() {
					t.block()
				}
			}
			if !more {
				return
			}
			if t.line(strings.TrimSpace(line)); !t.stays {
				t.timed, began = false, time.Now().Add(-audio.Duration(t.session.Pos()))
			}
		case <-tick.C:
			for n := 0; n < 100 && !t.timed && audio.Duration(t.session.Pos()) < time.Since(began); n++ {
				t.block() // a tick that came late is made up for
			}
		}
	}
}

// line takes one line: a callout, perhaps behind a time.
func (t *terminal) line(line string) {
	if len(line) > longest {
		t.refused(fmt.Errorf("a line of more than %d characters is no callout: it is left out", longest))
		return
	}
	first, rest, _ := strings.Cut(line, " ")
	if at, err := timeline.ParseTime(first); err == nil && strings.Contains(first, ":") {
		t.timed, line = true, rest
		if why := t.clock(first, at); why != nil {
			t.refused(why)
		}
		for timeline.Time(t.session.Pos()) < at && !t.session.Over() {
			t.block()
		}
	}
	if line == "" || strings.HasPrefix(line, "#") {
		return
	}
	r, err := t.keyboard.typed.Read(line)
	if err != nil {
		t.refused(err)
		return
	}
	before := t.events
	t.keyboard.next = append(t.keyboard.next, r)
	if t.block(); r.Answer && t.events == before {
		t.refused(fmt.Errorf("%q answers nothing that was asked: type the whole callout", line))
	}
}

// clock tells what a time before a line does to the clock, where whoever types may not
// expect it: the clock never goes back, and one that goes with the wall's runs ahead.
func (t *terminal) clock(said string, at timeline.Time) error {
	switch now := timeline.Time(t.session.Pos()); {
	case at < now-timeline.Seconds(1):
		return fmt.Errorf("%s has passed, the clock stands at %v: what is typed counts from now", said, now)
	case at > now+timeline.Seconds(1) && !t.stays:
		return fmt.Errorf("the clock has run on from %v to %s: all that lies between counts as passed", now, said)
	}
	return nil
}

// block lets 10 ms of silence pass.
func (t *terminal) block() {
	var in, out [audio.Block]float32
	var f audio.Frame
	t.exchange.Callback(in[:], out[:])
	for t.exchange.Next(&f) {
		t.exchange.Send(t.session.Step(f.Room[:], f.Speaker[:]))
	}
}

package intents

import (
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"time"
)

// An Ear is what a session listens with. Hear takes the next samples and
// returns results that are due, and faults in words; it does not wait (unless
// the session is a replay in lockstep) and it does not fail: a recogniser that
// dies is started again while the session goes on. Close returns what is left.
type Ear interface {
	Hear(pcm []int16) (results []Result, faults []string)
	Close() []Result
}

// Inline is an Ear around a Recogniser in the same process, for tests and for
// listening to files.
type Inline struct{ Recogniser }

// Hear implements Ear.
func (i Inline) Hear(pcm []int16) ([]Result, []string) {
	r, err := i.Recogniser.Hear(pcm)
	if err != nil {
		return r, []string{err.Error()}
	}
	return r, nil
}

// Close implements Ear.
func (i Inline) Close() []Result {
	r, _ := i.Recogniser.Close()
	return r
}

// Lag is how far, in samples, a recogniser in lockstep may be behind: results
// come exactly this long after they were decided, so that the child and the
// session can work side by side and every replay is the same.
const Lag = 2 * hopSamples

// ProcessOptions say how to run a plug-in.
type ProcessOptions struct {
	Command    []string
	Vocabulary *Vocabulary
	Lockstep   bool          // for replays: Hear waits for the child
	Patience   time.Duration // a child that reports no progress for this long is killed
	Voice      []byte        // profile of the voice that will be heard; nil: nobody's
	Open       bool          // the listener takes open results: see package decide
	Stderr     io.Writer
}

// report is how often, in samples, the child has to tell how far it is.
func (o ProcessOptions) report() int64 {
	if o.Lockstep {
		return hopSamples
	}
	return Rate / 10
}

// Process is an Ear that runs a plug-in as a child process: see Serve for what
// they say to each other.
type Process struct {
	opt     ProcessOptions
	child   *child
	name    string
	fed     int64 // samples given to Hear since the session began
	pending []Result
	unsent  []byte // less than a hop
	faults  []string
	retryAt time.Time // live; in lockstep:
	retryOn int64     // sample from which it is started again
	backoff time.Duration
	said    bool // that the recogniser is down
}

// NewProcess starts the plug-in and waits until it is ready. The error of a
// plug-in that cannot start says why in one line.
func NewProcess(opt ProcessOptions) (*Process, error) {
	if opt.Patience == 0 {
		opt.Patience = 3 * time.Second
	}
	p := &Process{opt: opt}
	c, err := p.start()
	if err != nil {
		return nil, err
	}
	select {
	case m, ok := <-c.out:
		if ok && m.Ready != "" {
			p.child, p.name = c, m.Ready
			return p, nil
		}
		c.kill()
		if m.Error != "" {
			return nil, fmt.Errorf("recogniser %s: %s", opt.Command[0], m.Error)
		}
		return nil, fmt.Errorf("recogniser %s: ended before it was ready", opt.Command[0])
	case <-time.After(30 * time.Second):
		c.kill()
		return nil, fmt.Errorf("recogniser %s: not ready after 30 s", opt.Command[0])
	}
}

// Name is what the plug-in calls itself.
func (p *Process) Name() string { return p.name }

// Hear implements Ear.
func (p *Process) Hear(pcm []int16) ([]Result, []string) {
	p.faults = nil
	if p.child == nil {
		p.restart()
	}
	if p.child != nil && p.child.heard >= p.fed { // it owes us nothing: patience starts with what it gets now
		p.child.progress = time.Now()
	}
	p.fed += int64(len(pcm))
	if p.child != nil {
		for _, s := range pcm {
			p.unsent = binary.LittleEndian.AppendUint16(p.unsent, uint16(s))
		}
		if p.opt.Lockstep || len(p.unsent) >= 2*hopSamples { // live, half as many wake-ups
			p.feed(p.unsent)
			p.unsent = nil
		}
		p.listen()
	}
	return p.due(p.fed - Lag), p.faults
}

func (p *Process) feed(b []byte) {
	if p.opt.Lockstep {
		p.child.in <- b
		return
	}
	select {
	case p.child.in <- b:
	default:
		p.fail("it no longer takes audio")
	}
}

// listen takes what the child has said so far; in lockstep, it waits until the
// child has heard all but Lag.
func (p *Process) listen() {
	for p.child != nil {
		waiting := p.opt.Lockstep && p.child.heard < p.fed-Lag
		if !waiting && len(p.child.out) == 0 && !p.child.ended() {
			if !p.opt.Lockstep && time.Since(p.child.progress) > p.opt.Patience {
				p.fail("no progress for " + p.opt.Patience.String())
			}
			return
		}
		timeout := time.After(p.opt.Patience)
		select {
		case m, ok := <-p.child.out:
			p.take(m, ok)
		case <-timeout:
			p.fail("no progress for " + p.opt.Patience.String())
		}
	}
}

func (p *Process) take(m message, ok bool) {
	c := p.child
	c.said++
	if m.Result != nil {
		c.results++
	}
	switch {
	case ok && c.floods(p.fed):
		p.pending = nil // whatever it said
		p.fail("it floods: more lines than the sound can hold")
	case !ok:
		p.fail("it ended")
	case m.Error != "":
		p.fail(m.Error)
	case m.Heard < 0 || c.base+m.Heard > p.fed:
		p.fail("it has heard what has not sounded yet")
	case m.Heard != 0:
		c.heard, c.progress = c.base+m.Heard, time.Now()
		p.backoff = 0
	case m.Result != nil:
		p.result(*m.Result)
	case m.Ready != "":
		if p.said {
			p.faults = append(p.faults, Back)
		}
		p.said = false
		c.progress = time.Now()
	}
}

// result takes a result of the child's, in its own positions, unless it cannot be.
func (p *Process) result(r Result) {
	c := p.child
	r.Start, r.End, r.Decided = r.Start+c.base, r.End+c.base, r.Decided+c.base
	if why := p.wrong(r); why == "" {
		p.pending = append(p.pending, r)
	} else if !c.refused && p.opt.Stderr != nil {
		c.refused = true
		fmt.Fprintf(p.opt.Stderr, "recogniser %s: a result is refused: %s (told once)\n", p.opt.Command[0], why)
	}
}

// Back is the fault text that says that listening works again.
const Back = "recogniser is back"

// due returns, in order, the pending results decided by sample t.
func (p *Process) due(t int64) []Result {
	if !p.opt.Lockstep {
		t = p.fed
	}
	var out, rest []Result
	for _, r := range p.pending {
		if r.Decided <= t {
			out = append(out, r)
		} else {
			rest = append(rest, r)
		}
	}
	p.pending = rest
	return out
}

func (p *Process) fail(why string) {
	p.child.kill()
	p.unsent = nil // the next child begins with what is heard then
	p.child = nil
	p.later()
	if !p.said {
		p.faults = append(p.faults, fmt.Sprintf("recogniser failed: %s; starting it again", why))
	}
	p.said = true
}

// later puts the next start off, the longer the more often it has failed: in a replay by the clock of the
// sound, so that it is the same twice.
func (p *Process) later() {
	p.backoff = min(max(200*time.Millisecond, 2*p.backoff), 5*time.Second)
	p.retryAt, p.retryOn = time.Now().Add(p.backoff), p.fed+int64(p.backoff.Seconds()*Rate)
}

func (p *Process) restart() {
	if p.opt.Lockstep && p.fed < p.retryOn || !p.opt.Lockstep && time.Now().Before(p.retryAt) {
		return
	}
	c, err := p.start()
	if err != nil {
		p.later()
		return
	}
	p.child = c
}

// Close implements Ear: it lets the child finish, for up to two seconds.
func (p *Process) Close() []Result {
	if p.child == nil {
		return p.due(1 << 62)
	}
	c := p.child
	if len(p.unsent) > 0 {
		select {
		case c.in <- p.unsent:
		default:
		}
	}
	c.shut.Do(func() { close(c.in) })
	late := time.After(2 * time.Second)
	for open := true; open && p.child != nil; { // it may be killed yet
		select {
		case m, ok := <-c.out:
			if open = ok && m.Error == ""; open {
				p.take(m, ok)
			}
		case <-late:
			killGroup(c.cmd)
			open = false
		}
	}
	if p.child == nil {
		return p.due(1 << 62)
	}
	c.cmd.Process.Signal(os.Interrupt)
	go func() {
		for range c.out {
		}
	}()
	gone := make(chan struct{})
	go func() {
		c.cmd.Wait()
		close(gone)
	}()
	select {
	case <-gone:
	case <-late: // it has closed its output and goes on all the same
		killGroup(c.cmd)
		<-gone
	}
	p.child = nil
	return p.due(1 << 62)
}

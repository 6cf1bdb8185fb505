package intents

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode"
)

// child is one run of the plug-in.
type child struct {
	cmd      *exec.Cmd
	base     int64 // session sample that its first sample was
	heard    int64 // session sample that it has reported
	in       chan []byte
	shut     sync.Once // of in
	out      chan message
	dead     chan struct{}
	progress time.Time
	said     int64 // lines of it that were taken
	results  int64 // and results among them
	refused  bool  // that a result was refused has been told
}

// start runs the plug-in and greets it.
func (p *Process) start() (*child, error) {
	cmd := exec.Command(p.opt.Command[0], p.opt.Command[1:]...)
	if p.opt.Stderr != nil {
		cmd.Stderr = &aside{to: p.opt.Stderr, name: p.opt.Command[0]}
	}
	cmd.WaitDelay = time.Second
	ownGroup(cmd)
	cmd.Env = slices.DeleteFunc(os.Environ(), func(v string) bool {
		name, _, _ := strings.Cut(v, "=")
		return strings.HasPrefix(name, "COXSWAIN_") && strings.HasSuffix(name, "_TOKEN") // the pages are none of its business
	})
	stdin, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("recogniser %s: cannot start: %w", p.opt.Command[0], err)
	}
	c := &child{
		cmd:      cmd,
		base:     p.fed,
		heard:    p.fed,
		in:       make(chan []byte, 512),
		out:      make(chan message, 4096),
		dead:     make(chan struct{}),
		progress: time.Now(),
	}
	head, err := json.Marshal(hello{1, Rate, "s16le", p.opt.report(), p.opt.Vocabulary, p.opt.Open, p.opt.Voice})
	if err != nil {
		return nil, err
	}
	c.in <- append(head, '\n')
	go c.write(stdin)
	go c.read(stdout)
	return c, nil
}

// write feeds the child until in is closed. A child that does not read blocks
// this goroutine only; killing it ends the write.
func (c *child) write(w io.WriteCloser) {
	defer w.Close()
	for b := range c.in {
		if _, err := w.Write(b); err != nil {
			for range c.in { // drain, so that closing in is enough
			}
			return
		}
	}
}

// read passes on what the child says; it stops at the first line that is not
// of the protocol, which makes the session kill the child.
func (c *child) read(r io.Reader) {
	defer close(c.dead)
	defer close(c.out)
	s := bufio.NewScanner(r)
	s.Buffer(nil, 64<<10)
	for s.Scan() {
		var m message
		if err := json.Unmarshal(s.Bytes(), &m); err != nil || m == (message{}) {
			m = message{Error: "it wrote a line that is not of the protocol"}
		}
		c.out <- m
		if m.Error != "" {
			return
		}
	}
}

func (c *child) kill() {
	killGroup(c.cmd)
	c.shut.Do(func() { close(c.in) })
	go func() {
		for range c.out { // let read end
		}
		c.cmd.Wait()
	}()
}

func (c *child) ended() bool {
	select {
	case <-c.dead:
		return true
	default:
		return false
	}
}

// asideMost is how much of what a plug-in prints on its standard error is passed on in asideWithin: it goes to
// a log that people read, on a disk that records need.
const (
	asideMost   = 32 << 10
	asideWithin = time.Minute
)

// aside passes that on, without what would steer a terminal.
type aside struct {
	to   io.Writer
	name string
	from time.Time
	left int
	told bool // that some is left out
}

// Write implements io.Writer: it never fails, nor keeps the plug-in waiting longer than to does.
func (a *aside) Write(b []byte) (int, error) {
	if now := time.Now(); now.Sub(a.from) > asideWithin {
		a.from, a.left, a.told = now, asideMost, false
	}
	if len(b) > a.left && !a.told {
		a.told = true
		defer fmt.Fprintf(a.to, "\nrecogniser %s: it prints too much: the rest of this minute is left out\n", a.name)
	}
	pass := b[:min(len(b), a.left)]
	a.left -= len(pass)
	if len(pass) > 0 {
		a.to.Write(bytes.Map(plain, pass))
	}
	return len(b), nil
}

// plain is a character as it may come to a terminal.
func plain(r rune) rune {
	if r != '\n' && r != '\t' && (unicode.IsControl(r) || unicode.Is(unicode.Cf, r)) {
		return '?'
	}
	return r
}

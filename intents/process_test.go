package intents

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"os/exec"
	"os/signal"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// The test binary is its own misbehaving plug-in: TestMain plays one of these
// parts when the variable names it.
const partVariable = "INTENTS_TEST_PART"

func TestMain(m *testing.M) {
	if part := os.Getenv(partVariable); part != "" {
		play(part)
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// play misbehaves on the first run and works on the next ones: the file named
// by PART_MARK tells them apart.
func play(part string) {
	mark := os.Getenv("PART_MARK")
	_, err := os.Stat(mark)
	os.WriteFile(mark, nil, 0o600)
	if err != nil {
		misbehave(part)
	}
	Serve("well again", func(*Vocabulary) (Recogniser, error) {
		return &Scripted{Results: []Result{{Callout: "access.iv", Text: "iv access", Confidence: 1, Start: 100, End: 300, Decided: 640}}}, nil
	}, os.Stdin, os.Stdout)
}

// misbehave is the first run.
func misbehave(part string) {
	switch part {
	case "crash":
		in := bufio.NewReader(os.Stdin)
		in.ReadString('\n')
		fmt.Println(`{"ready":"crash"}`)
		in.Read(make([]byte, 640))
		os.Exit(3)
	case "hang":
		fmt.Println(`{"ready":"hang"}`)
		time.Sleep(time.Hour)
	case "garbage":
		fmt.Println(`{"ready":"garbage"}`)
		fmt.Println("Segmentation fault (core not dumped)")
		time.Sleep(time.Hour)
	case "flood":
		fmt.Println(`{"ready":"flood"}`)
		mb := make([]byte, 1<<20)
		for range 1024 { // 1 GB without a newline
			os.Stdout.Write(mb)
		}
		time.Sleep(time.Hour)
	case "valid flood": // as good as any line, without end
		fmt.Println(`{"ready":"valid flood"}`)
		for {
			fmt.Println(`{"result":{"callout":"rosc","text":"rosc","values":{},"confidence":1,"start":0,"end":0,"decided":0}}`)
		}
	case "late flood": // floods once its input has ended
		fmt.Println(`{"ready":"late flood"}`)
		io.Copy(io.Discard, os.Stdin)
		for {
			fmt.Println(`{"heard":1}`)
		}
	case "ahead":
		fmt.Println(`{"ready":"ahead"}`)
		fmt.Println(`{"heard":99999999999}`)
		time.Sleep(time.Hour)
	case "stubborn": // closes its output and ignores the interrupt
		signal.Ignore(os.Interrupt)
		fmt.Println(`{"ready":"stubborn"}`)
		os.Stdout.Close()
		time.Sleep(time.Hour)
	case "group":
		fmt.Printf("{\"ready\":\"%d\"}\n", syscall.Getpgrp())
		sleep := exec.Command("sleep", "3600")
		sleep.Stderr = os.Stderr
		sleep.Run()
	case "chatter": // floods its standard error with what clears a screen
		fmt.Println(`{"ready":"chatter"}`)
		for range 1000 {
			fmt.Fprintln(os.Stderr, "\x1b[2J\u202e"+strings.Repeat("x", 1000))
		}
		io.Copy(io.Discard, os.Stdin)
	case "token":
		fmt.Println(`{"ready":"token ` + os.Getenv("COXSWAIN_HTTP_TOKEN") + `"}`)
		time.Sleep(time.Hour)
	}
}

// Whatever a plug-in does, Hear never waits for it, the fault is told once,
// and a new one takes over; what it hears has the session's positions. The
// patience is one that the good plug-in keeps on the busiest machine.
func TestPlugInFaults(t *testing.T) {
	for _, part := range []string{"crash", "hang", "garbage", "flood", "valid flood", "ahead"} {
		t.Run(part, func(t *testing.T) {
			t.Parallel()
			p := startPart(t, part, ProcessOptions{Patience: patience})
			defer p.Close()
			var faults []string
			var heard []Result
			for start := time.Now(); time.Since(start) < 20*patience && len(heard) == 0; time.Sleep(5 * time.Millisecond) {
				before := time.Now()
				r, f := p.Hear(make([]int16, 160))
				if took := time.Since(before); took > patience/2 { // one that waits does so for its patience, or for ever
					t.Fatalf("Hear took %v", took)
				}
				faults = append(faults, f...)
				for _, x := range r { // the first of a flood may pass before it is one
					if x.Callout != "rosc" {
						heard = append(heard, x)
					}
				}
			}
			if len(faults) != 2 || !strings.Contains(faults[0], "failed") || faults[1] != Back {
				t.Errorf("faults told: %q, want one failure and one recovery", faults)
			}
			if len(heard) != 1 || heard[0].Decided <= 640 || heard[0].Decided > p.fed {
				t.Errorf("after the restart heard %+v at session sample %d", heard, p.fed)
			}
		})
	}
}

const patience = 5 * time.Second

// One that closes its output and ignores the interrupt is killed, and the session goes
// on to close its record.
func TestStubbornPlugIn(t *testing.T) {
	for _, part := range []string{"stubborn", "late flood"} {
		p := startPart(t, part, ProcessOptions{})
		start := time.Now()
		p.Close()
		if d := time.Since(start); d > 10*time.Second { // two, and generous for a loaded machine; it would be an hour
			t.Errorf("%s: closing took %v", part, d)
		}
	}
}

// The word that opens our pages is none of a plug-in's business.
func TestPlugInGetsNoToken(t *testing.T) {
	t.Setenv("COXSWAIN_HTTP_TOKEN", "sixteen-letters-")
	p := startPart(t, "token", ProcessOptions{})
	defer p.Close()
	if p.Name() != "token " {
		t.Errorf("the plug-in knows: %q", p.Name())
	}
}

// What a plug-in prints beside the protocol is for the log: it neither fills a disk nor steers a terminal.
func TestPlugInFloodsItsStandardError(t *testing.T) {
	var log strings.Builder
	startPart(t, "chatter", ProcessOptions{Stderr: &log}).Close()
	if n := log.Len(); n < asideMost || n > asideMost+1000 || strings.ContainsAny(log.String(), "\x1b\u202e") ||
		strings.Count(log.String(), "prints too much") != 1 {
		t.Errorf("%d bytes in the log, the first %.80q, the last %q", n, log.String(), log.String()[max(0, n-80):])
	}
}

// One that ends as soon as it is ready is not started anew with every block of a recording.
func TestPlugInFailsThroughoutARecording(t *testing.T) {
	log := t.TempDir() + "/starts"
	command := []string{"sh", "-c", `echo >> "$0"; echo '{"ready":"x"}'`, log}
	p, err := NewProcess(ProcessOptions{Command: command, Vocabulary: builtin(t), Lockstep: true})
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	for range 20 * Rate / 160 { // of sound
		p.Hear(make([]int16, 160))
	}
	if b, err := os.ReadFile(log); err != nil || len(b) > 10 || len(b) < 4 {
		t.Errorf("started %d times in 20 s: %v", len(b), err)
	}
}

// startPart starts this program as a plug-in that plays a part.
func startPart(t *testing.T, part string, o ProcessOptions) *Process {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	o.Vocabulary = builtin(t)
	o.Command = []string{"env", partVariable + "=" + part, "PART_MARK=" + t.TempDir() + "/mark", self}
	p, err := NewProcess(o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// builtin is the built-in vocabulary.
func builtin(t testing.TB) *Vocabulary {
	t.Helper()
	v, err := LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// A result that cannot be is refused, and what is wrong with it told once; the good
// ones around it count.
func TestImpossibleResultsAreRefused(t *testing.T) {
	v := builtin(t)
	good := Result{Callout: "drug.epinephrine", Values: map[string]float64{"dose_mg": 1}, Confidence: 0.9, Start: 100, End: 200, Decided: 300}
	for name, spoil := range map[string]func(r *Result){
		"dose":       func(r *Result) { r.Values = map[string]float64{"dose_mg": 319} },
		"unit":       func(r *Result) { r.Values = map[string]float64{"weight": 5} },
		"future":     func(r *Result) { r.Decided = 16001 },
		"backwards":  func(r *Result) { r.Start = 250 },
		"confidence": func(r *Result) { r.Confidence = 1.5 },
		"below 0":    func(r *Result) { r.Confidence = -1 },
		"unknown":    func(r *Result) { r.Callout = "drug.nectar" },
		"rival":      func(r *Result) { r.Rivals = []Rival{{Callout: "rosc", Confidence: 7}} },
		"long":       func(r *Result) { r.Text = strings.Repeat("x", 501) },
	} {
		var log strings.Builder
		p := &Process{opt: ProcessOptions{Command: []string{"test"}, Vocabulary: v, Stderr: &log}, fed: 16000, child: &child{}}
		bad := good
		spoil(&bad)
		for _, r := range []Result{good, bad, bad, good} {
			p.take(message{Result: &r}, true)
		}
		if len(p.pending) != 2 || strings.Count(log.String(), "is refused") != 1 {
			t.Errorf("%s: %d results taken, told %q", name, len(p.pending), log.String())
		}
	}
}

// What cannot start is one clear line.
func TestPlugInCannotStart(t *testing.T) {
	v := builtin(t)
	for _, c := range []struct {
		command []string
		want    string
	}{
		{[]string{"/no/such/recogniser"}, "cannot start"},
		{[]string{"true"}, "ended before it was ready"},
		{[]string{"echo", `{"error":"no model found"}`}, "no model found"},
		{[]string{"echo", "hello"}, "not of the protocol"},
	} {
		_, err := NewProcess(ProcessOptions{Command: c.command, Vocabulary: v})
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v: %v, want one line with %q", c.command, err, c.want)
		}
	}
}

// Whatever comes on the child's standard output, the session gets results of
// its own vocabulary, faults in words, or nothing.
func FuzzPlugInLine(f *testing.F) {
	f.Add([]byte(`{"heard":640}`))
	f.Add([]byte(`{"result":{"callout":"rosc","start":-5,"end":1,"decided":16}}`))
	f.Add([]byte("{}\n\x00"))
	v := builtin(f)
	f.Fuzz(func(t *testing.T, b []byte) {
		c := &child{out: make(chan message, 4096), dead: make(chan struct{})}
		go c.read(strings.NewReader(string(b)))
		p := &Process{opt: ProcessOptions{Vocabulary: v}, fed: 16000}
		for m := range c.out {
			if m.Error != "" {
				continue // the session kills the child
			}
			p.child = c
			p.take(m, true)
		}
		for _, r := range p.due(p.fed) {
			if v.Find(r.Callout) == nil {
				t.Errorf("result of a callout that is not in the vocabulary: %+v", r)
			}
			if r.Start < 0 || r.End < r.Start || r.Decided < r.End || r.Decided > p.fed {
				t.Errorf("positions of %+v", r)
			}
		}
	})
}

// The signals of a terminal's Ctrl-C and Ctrl-Z are for the session alone: the plug-in has a group of its own,
// and what it has started goes with it.
func TestPlugInHasItsOwnGroup(t *testing.T) {
	held, holds, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer held.Close()
	p := startPart(t, "group", ProcessOptions{Patience: patience, Stderr: holds})
	holds.Close()
	if group, err := strconv.Atoi(p.Name()); err != nil || group == syscall.Getpgrp() {
		t.Errorf("the group of the plug-in is %q, ours %d", p.Name(), syscall.Getpgrp())
	}
	p.Close()
	held.SetReadDeadline(time.Now().Add(time.Minute))
	if _, err := held.Read(make([]byte, 1)); err != io.EOF { // it ends with the last process that has it
		t.Errorf("something of the plug-in goes on: %v", err)
	}
}

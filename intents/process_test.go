package intents

import (
	"bufio"
	"fmt"
	"os"
	"strings"
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
	first := err != nil
	os.WriteFile(mark, nil, 0o600)
	if first {
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
		}
	}
	Serve("well again", func(*Vocabulary) (Recogniser, error) {
		return &Scripted{Results: []Result{{Callout: "access.iv", Text: "iv access", Confidence: 1, Start: 100, End: 300, Decided: 640}}}, nil
	}, os.Stdin, os.Stdout)
}

// Whatever a plug-in does, Hear never waits for it, the fault is told once,
// and a new one takes over; what it hears has the session's positions. The
// patience is one that the good plug-in keeps on the busiest machine.
func TestPlugInFaults(t *testing.T) {
	v, err := LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	for _, part := range []string{"crash", "hang", "garbage", "flood"} {
		t.Run(part, func(t *testing.T) {
			t.Parallel()
			p, err := NewProcess(ProcessOptions{Command: []string{"env", partVariable + "=" + part, "PART_MARK=" + t.TempDir() + "/mark", self}, Vocabulary: v, Patience: patience})
			if err != nil {
				t.Fatal(err)
			}
			defer p.Close()
			var faults []string
			var heard []Result
			for start := time.Now(); time.Since(start) < 20*patience && len(heard) == 0; time.Sleep(5 * time.Millisecond) {
				before := time.Now()
				r, f := p.Hear(make([]int16, 160))
				if took := time.Since(before); took > patience/2 { // one that waits does so for its patience, or for ever
					t.Fatalf("Hear took %v", took)
				}
				faults, heard = append(faults, f...), append(heard, r...)
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

// What cannot start is one clear line.
func TestPlugInCannotStart(t *testing.T) {
	v, err := LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
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
	v, err := LoadVocabulary()
	if err != nil {
		f.Fatal(err)
	}
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

package outbox

import (
	"context"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"runtime"
	"time"
)

// Process is the process that sends, as a session starts it.
type Process struct {
	Command []string // which ends when its standard input does
	Env     []string
	Stderr  io.Writer
	Again   time.Duration // after it ended: so long before it is started again, longer each time; 0: 5 s
	Grace   time.Duration // after its standard input ended: so long before it is killed; 0: half a second
}

// mostAgain is the longest time before the process is started again.
const mostAgain = 10 * time.Minute

// Keep runs the process, of least priority for processor and disk, and starts it
// again when it ends, until stop is called. Stop waits for a second at most.
func (p Process) Keep() (stop func()) {
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		// What is lowered is this thread, whose place in the line its children take; it
		// goes with the goroutine.
		runtime.LockOSThread()
		lower()
		for again := orElse(p.Again, 5*time.Second); ctx.Err() == nil; again = min(2*again, mostAgain) {
			begun := time.Now()
			if err := p.run(ctx); ctx.Err() == nil {
				slog.Warn("what sends records has ended; it is started again", "in", again, "why", err)
			}
			if time.Since(begun) > mostAgain {
				again = orElse(p.Again, 5*time.Second)
			}
			select {
			case <-ctx.Done():
			case <-time.After(again):
			}
		}
	}()
	return func() {
		cancel()
		select {
		case <-done:
		case <-time.After(time.Second):
		}
	}
}

func (p Process) run(ctx context.Context) error {
	cmd := exec.Command(p.Command[0], p.Command[1:]...)
	cmd.Env, cmd.Stderr = p.Env, p.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	gone := context.AfterFunc(ctx, func() {
		in.Close()
		time.AfterFunc(orElse(p.Grace, 500*time.Millisecond), func() { cmd.Process.Kill() })
	})
	defer gone()
	return cmd.Wait()
}

// UntilEOF ends the returned context when in does: with the process that holds its
// other end, however that ends.
func UntilEOF(ctx context.Context, in io.Reader) context.Context {
	ctx, cancel := context.WithCancel(ctx)
	go func() {
		io.Copy(io.Discard, in)
		cancel()
	}()
	return ctx
}

// Yield has the machine take memory from this process first, when there is too little.
func Yield() { os.WriteFile("/proc/self/oom_score_adj", []byte("800"), 0o600) }

package outbox

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// What sends records is started again when it ends, and ends with the session: it
// holds the other end of its standard input. It runs behind all others.
func TestProcess(t *testing.T) {
	dir := t.TempDir()
	runs, nice := filepath.Join(dir, "runs"), filepath.Join(dir, "nice")
	script := `echo run >> "$1"; n=$(wc -l < "$1"); nice > "$2"; if [ "$n" -lt 3 ]; then exit 1; fi; cat; echo ended >> "$1"`
	stop := Process{Command: []string{"sh", "-c", script, "sh", runs, nice}, Env: os.Environ(), Again: 10 * time.Millisecond,
		Grace: patience}.Keep() // it is the last in the line for a processor
	said := func() string { b, _ := os.ReadFile(runs); return string(b) }
	eventually(t, "it runs the third time", func() bool { return strings.Count(said(), "run\n") == 3 })
	stop()
	eventually(t, "it ends with us", func() bool { return strings.HasSuffix(said(), "run\nended\n") })
	if b, err := os.ReadFile(nice); err != nil || strings.TrimSpace(string(b)) < "15" {
		t.Errorf("its niceness is %q, %v", b, err)
	}
}

// One that cannot be started, or takes no notice of its end, keeps nobody waiting.
func TestProcessThatDoesNotEnd(t *testing.T) {
	for _, command := range [][]string{{"/no/such/program"}, {"sleep", "600"}} {
		stop := Process{Command: command, Again: time.Millisecond}.Keep()
		begun := time.Now()
		stop()
		if took := time.Since(begun); took > patience/2 {
			t.Errorf("%v: stopping took %v", command, took)
		}
	}
}

package monitor

import (
	"fmt"
	"log/slog"
	"slices"
	"sync"
)

// Notices are what whoever runs a session should know of it once: each stands in the log
// when it comes, in the status from then on, and in the log again when the session ends.
// The zero value holds none. Any goroutine may add one.
type Notices struct {
	mu   sync.Mutex
	list []string
}

// mostNotices bounds them: a machine that finds more to tell has told enough.
const mostNotices = 20

// Add tells one.
func (n *Notices) Add(format string, args ...any) {
	text := fmt.Sprintf(format, args...)
	slog.Warn(text)
	n.mu.Lock()
	defer n.mu.Unlock()
	if len(n.list) < mostNotices {
		n.list = append(n.list, text)
	}
}

// All are those that there were, in order. A nil Notices has none.
func (n *Notices) All() []string {
	if n == nil {
		return nil
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	return slices.Clone(n.list)
}

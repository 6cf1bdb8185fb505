package review

import (
	"cmp"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync"
	"time"

	"coxswain/timeline"
	"coxswain/timeline/drill"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
)

// Index holds a line for each record of a folder. It reads a record once, and
// again when its journal has another time or size. It is for any goroutine.
type Index struct {
	folder string
	defs   []figures.Definition
	cases  []*drill.Case // beside the built-in ones

	summarise func([]timeline.Event, []figures.Definition) Summary

	mu    sync.Mutex
	known map[string]indexed // by folder of the record
	lines []Summary          // newest first; a slice that nobody changes
	bad   []string
	at    time.Time // of the last look at the folder

	dirs  []string // what was found then
	left  []string // of these, what is to be read still
	fresh map[string]indexed
	shut  []string // what may not be looked into
}

// indexed is what is known of a record, and of which state of its journal.
type indexed struct {
	changed time.Time
	size    int64
	line    Summary
	origin  string // the same in all copies of a case
	events  int    // amendments too
	why     string // it cannot be read
}

// NewIndex returns an index of the records in folder, still empty. Cases are
// those of the drills that are not built in.
func NewIndex(folder string, defs []figures.Definition, cases ...*drill.Case) *Index {
	return &Index{folder: folder, defs: defs, cases: cases, summarise: Summarise, known: map[string]indexed{}}
}

// lookEvery is how often the folder is looked at, however often it is asked for.
const lookEvery = time.Second

// Lines returns a line for each record, newest first, and why some are left out.
// The folder is looked at before, unless that was done within the last second.
func (x *Index) Lines() (lines []Summary, bad []string, err error) {
	lines, bad, _, err = x.upTo(math.MaxInt)
	return lines, bad, err
}

// Some is Lines for whoever cannot wait: of what is new or has changed it reads the newest, some
// hundreds of records, and returns how many are left to be read by the next calls.
func (x *Index) Some() (lines []Summary, bad []string, left int, err error) { return x.upTo(atOnce) }

// atOnce is how many records are read while a page waits: a fifth of a second on one core.
const atOnce = 300

func (x *Index) upTo(most int) (lines []Summary, bad []string, left int, err error) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if len(x.left) == 0 && time.Since(x.at) < lookEvery {
		return x.lines, x.bad, 0, nil
	}
	if len(x.left) == 0 {
		same, err := x.look()
		if err != nil {
			return nil, nil, 0, err
		}
		if x.at = time.Now(); same {
			return x.lines, x.bad, 0, nil
		}
	}
	x.take(most)
	return x.lines, x.bad, len(x.left), nil
}

// Forget has a record read anew at the next look, which is the next one asked for.
func (x *Index) Forget(dir string) {
	x.mu.Lock()
	defer x.mu.Unlock()
	delete(x.known, dir)
	x.at = time.Time{}
}

// look finds what is new or has changed in the folder; same if nothing is.
func (x *Index) look() (same bool, err error) {
	dirs, err := record.Dirs(x.folder)
	if err != nil {
		return false, err
	}
	var stale []string
	now, found := map[string]indexed{}, make(map[string]indexed, len(dirs))
	for _, d := range dirs {
		st, err := os.Lstat(filepath.Join(d, record.JournalName))
		if err != nil {
			continue // gone since
		}
		if k, ok := x.known[d]; ok && k.size == st.Size() && k.changed.Equal(st.ModTime()) {
			found[d] = k
			continue
		}
		now[d] = indexed{changed: st.ModTime(), size: st.Size()}
		stale = append(stale, d)
	}
	if len(stale) == 0 && len(found) == len(x.known) && x.lines != nil {
		return true, nil
	}
	x.known, x.dirs, x.left, x.fresh, x.shut = found, dirs, stale, now, nil
	for _, err := range record.Shut(x.folder) {
		x.shut = append(x.shut, err.Error())
	}
	return false, nil
}

// take reads of what was found the last by name, at most so many, and makes the lines anew.
func (x *Index) take(most int) {
	from := max(0, len(x.left)-most)
	some := x.left[from:]
	for i, one := range x.read(some) {
		k := x.fresh[some[i]]
		one.changed, one.size = k.changed, k.size
		x.known[some[i]] = one
	}
	x.left = x.left[:from]
	x.put()
}

// counting chooses of the copies of each case the one that counts: the one whose journal
// tells most (amendments, an end where the other was cut off) or else the first by name.
func (x *Index) counting() map[string]indexed {
	out := make(map[string]indexed, len(x.known))
	for _, k := range x.known {
		was, here := out[k.origin]
		if !here || k.events > was.events || k.events == was.events && k.line.Name < was.line.Name {
			out[k.origin] = k
		}
	}
	return out
}

// put makes the lines anew, of what is known of the folders.
func (x *Index) put() {
	counts := x.counting()
	x.lines, x.bad = make([]Summary, 0, len(x.known)), slices.Clone(x.shut)
	for _, d := range x.dirs {
		switch k, ok := x.known[d]; {
		case ok && k.why != "":
			x.bad = append(x.bad, k.why)
		case ok:
			if c := counts[k.origin].line; k.origin != "" && c.Path != k.line.Path {
				k.line.Twin = c.Name
			}
			x.lines = append(x.lines, k.line)
		}
	}
	slices.SortStableFunc(x.lines, func(a, b Summary) int {
		return cmp.Or(b.Wall.Compare(a.Wall), cmp.Compare(b.Name, a.Name))
	})
}

// read summarises records on all cores.
func (x *Index) read(dirs []string) []indexed {
	out := make([]indexed, len(dirs))
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.NumCPU() {
		wg.Go(func() {
			for i := range next {
				out[i] = x.summary(dirs[i])
			}
		})
	}
	for i := range dirs {
		next <- i
	}
	close(next)
	wg.Wait()
	return out
}

// summary is the line of one record. Whatever is wrong with it, even that it shows a
// fault of ours, must not hide the others.
func (x *Index) summary(dir string) (one indexed) {
	defer func() {
		if fault := recover(); fault != nil {
			one = indexed{why: fmt.Sprintf("%s: cannot be summarised, which is a fault of coxswain: %v", dir, fault)}
		}
	}()
	r, err := record.Open(dir)
	if err != nil {
		return indexed{why: err.Error()}
	}
	one.line = x.summarise(r.Events, x.defs)
	one.line.Path, one.line.Name = dir, r.Name()
	one.origin, one.events = r.Origin(), len(r.Events)
	if one.line.Drill != nil {
		one.line.Score = Debrief(r.Events, x.cases...)
	}
	return one
}

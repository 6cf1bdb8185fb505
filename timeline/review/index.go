package review

import (
	"cmp"
	"fmt"
	"math"
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
	wait   time.Duration // for which Some reads

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
	return &Index{
		folder:    folder,
		defs:      defs,
		cases:     cases,
		wait:      60 * time.Millisecond,
		summarise: Summarise,
		known:     map[string]indexed{},
	}
}

// lookEvery is how often the folder is looked at, however often it is asked for.
const lookEvery = time.Second

// Lines returns a line for each record, newest first, and why some are left out.
// The folder is looked at before, unless that was done within the last second.
func (x *Index) Lines() (lines []Summary, bad []string, err error) {
	lines, bad, _, err = x.upTo(math.MaxInt64)
	return lines, bad, err
}

// Some is Lines for whoever cannot wait: of what is new or has changed it reads the newest, as many
// as it comes to meanwhile, and returns how many are left to be read by the next calls.
func (x *Index) Some() (lines []Summary, bad []string, left int, err error) { return x.upTo(x.wait) }

// block is how many records are read between two looks at the clock.
const block = 50

func (x *Index) upTo(within time.Duration) (lines []Summary, bad []string, left int, err error) {
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
	x.take(within)
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
	all, shut, err := record.Find(x.folder)
	if err != nil {
		return false, err
	}
	var stale []string
	dirs := make([]string, 0, len(all))
	now, found := map[string]indexed{}, make(map[string]indexed, len(all))
	for _, f := range all {
		dirs = append(dirs, f.Dir)
		if k, ok := x.known[f.Dir]; ok && k.size == f.Journal.Size() && k.changed.Equal(f.Journal.ModTime()) {
			found[f.Dir] = k
			continue
		}
		now[f.Dir] = indexed{changed: f.Journal.ModTime(), size: f.Journal.Size()}
		stale = append(stale, f.Dir)
	}
	if len(stale) == 0 && len(found) == len(x.known) && len(shut) == len(x.shut) && x.lines != nil {
		return true, nil
	}
	x.known, x.dirs, x.left, x.fresh, x.shut = found, dirs, stale, now, nil
	for _, err := range shut {
		x.shut = append(x.shut, err.Error())
	}
	return false, nil
}

// take reads of what was found the last by name, a block at least and as many more as the time
// allows, and makes the lines anew.
func (x *Index) take(within time.Duration) {
	for begun := time.Now(); ; {
		from := max(0, len(x.left)-block)
		some := x.left[from:]
		for i, one := range x.read(some) {
			k := x.fresh[some[i]]
			one.changed, one.size = k.changed, k.size
			x.known[some[i]] = one
		}
		if x.left = x.left[:from]; len(x.left) == 0 || time.Since(begun) >= within {
			break
		}
	}
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

package review

import (
	"fmt"
	"runtime"
	"sort"
	"strings"
	"sync"
	"time"

	"coxswain/timeline/figures"
	"coxswain/timeline/record"
)

// Load derives everything from the record in dir, finished or not.
func Load(dir string, defs []figures.Definition) (*Record, error) {
	from, err := record.Open(dir)
	if err != nil {
		return nil, err
	}
	r := Of(from.Events, defs)
	r.Name, r.PartLength, r.Parts = from.Name(), record.PartLength, len(from.Parts())
	if !from.Closed() {
		r.Unfinished = "the session was cut off: finish the record with `coxswain mend`"
	}
	unsigned := from.Unsigned()
	for i, w := range r.Rows {
		if unsigned[w.Seq] {
			r.Rows[i].Note += " (unsigned)"
		}
	}
	return r, nil
}

// LoadAll summarises every record of a folder, on all cores, oldest first. One
// that cannot be read is left out, and bad says why.
func LoadAll(records string, defs []figures.Definition) (list []Summary, bad []string, err error) {
	found, err := record.Dirs(records)
	if err != nil {
		return nil, nil, err
	}
	if len(found) == 0 {
		return nil, nil, fmt.Errorf("%s: holds no records: name the folder with --records", records)
	}
	lines, why := make([]Summary, len(found)), make([]string, len(found))
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.NumCPU() {
		wg.Go(func() {
			for i := range next {
				r, err := record.Open(found[i])
				if err != nil {
					why[i] = err.Error()
					continue
				}
				lines[i] = Summarise(r.Events, defs)
				lines[i].Path, lines[i].Name = found[i], r.Name()
			}
		})
	}
	for i := range found {
		next <- i
	}
	close(next)
	wg.Wait()
	for i := range lines {
		if why[i] != "" {
			bad = append(bad, why[i])
		} else {
			list = append(list, lines[i])
		}
	}
	sort.SliceStable(list, func(i, j int) bool { return list[i].Wall.Before(list[j].Wall) })
	return list, bad, nil
}

// Matching are the records whose line has all the words of search.
func Matching(list []Summary, search string) []Summary {
	var out []Summary
	for _, s := range list {
		line := strings.ToLower(strings.Join([]string{s.Name, s.Wall.Format(time.RFC3339), s.Rhythm, s.Outcome}, " "))
		all := true
		for _, w := range strings.Fields(strings.ToLower(search)) {
			all = all && strings.Contains(line, w)
		}
		if all {
			out = append(out, s)
		}
	}
	return out
}

// RunCharts are the run charts of all figures that are known in any month.
func RunCharts(list []Summary, defs []figures.Definition) []RunChart {
	var out []RunChart
	for _, d := range defs {
		if c := RunChartOf(list, d); len(c.Months) > 0 {
			out = append(out, c)
		}
	}
	return out
}

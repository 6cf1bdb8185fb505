package review

import (
	"fmt"
	"slices"

	"coxswain/timeline/drill"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
)

// Load derives everything from the record in dir, finished or not. Cases are
// those of drills that are not built in.
func Load(dir string, defs []figures.Definition, cases ...*drill.Case) (*Record, error) {
	from, err := record.Open(dir)
	if err != nil {
		return nil, err
	}
	r := Of(from.Events, defs)
	r.Debriefing = Debrief(from.Events, cases...)
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

// LoadAll summarises every record of a folder, oldest first. One that cannot be
// read is left out, and bad says why.
func LoadAll(records string, defs []figures.Definition) (list []Summary, bad []string, err error) {
	lines, bad, err := NewIndex(records, defs).Lines()
	if err != nil {
		return nil, nil, err
	}
	if len(lines)+len(bad) == 0 {
		return nil, nil, fmt.Errorf("%s: holds no records: name the folder with --records", records)
	}
	list = slices.Clone(lines)
	slices.Reverse(list)
	return list, bad, nil
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

package review

import (
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

package figures

import "coxswain/timeline"

// verdict is Figure.Verdict of a figure that was held against its benchmark.
func (f Figure) verdict(s timeline.State) string {
	switch {
	case f.Benchmark == nil || !f.Known:
		return ""
	case f.Benchmark.Only != "" && s.FirstRhythm == timeline.Unknown:
		return "not certain"
	case !f.applies(s):
		return "does not apply"
	}
	return map[string]string{"yes": "met", "no": "outside", "": "not certain"}[f.Met]
}

// applies reports whether there is a benchmark for such a record.
func (d Definition) applies(s timeline.State) bool {
	return d.Benchmark != nil && (d.Benchmark.Only != "nonshockable" ||
		s.FirstRhythm != timeline.Unknown && !s.FirstRhythm.Shockable())
}

// met holds a value against the benchmark, if it applies to the record.
func (d Definition) met(v float64, s timeline.State) string {
	b := d.Benchmark
	if !d.applies(s) {
		return ""
	}
	if b.Min != nil && v < *b.Min || b.Max != nil && v > *b.Max {
		return "no"
	}
	return "yes"
}

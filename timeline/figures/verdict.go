package figures

import (
	"maps"

	"coxswain/timeline"
)

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

// why says why a figure is unknown, if callouts tell.
func (c Course) why(id string, known bool) string {
	switch {
	case known:
		return ""
	case notOfNewborn[id] && c.State.OfNewborn():
		return "a newborn: no protocol here tells of one"
	case fromStart[id] && c.State.TreatedBefore():
		return "treated before this record began"
	}
	return ""
}

// notOfNewborn are the figures that count by the ratio with breaths, the cycles or the pauses of others.
var notOfNewborn = map[string]bool{
	"compression_fraction": true, "cycle_adherence": true, "pauses": true, "longest_pause": true, "pauses_over_10s": true,
	"epinephrine_interval": true,
}

// fromStart are the figures that count from the start of the arrest: nobody knows it if
// the patient was treated before.
var fromStart = map[string]bool{
	"first_compression": true, "first_shock": true, "first_epinephrine": true, "return_of_circulation": true,
}

// withoutNewborns leaves those out where a newborn lay there.
func (c Course) withoutNewborns(m map[string]float64) {
	maps.DeleteFunc(m, func(id string, _ float64) bool { return notOfNewborn[id] && c.State.OfNewborn() })
}

package acoustic

import "coxswain/intents"

// slipNear is the log score by which a phrase must fit better than what its little words may
// have been instead, to be taken.
const slipNear = 2.5

// slipped is by how much a phrase fits better than the best of what it may have been instead:
// "we had a pulse" differs from a callout in a sound of 40 ms. Either may end later than the
// phrase: see denied.
func (d *decoder) slipped(c candidate, said []string) (lead float64) {
	lead = -float64(dead)
	var behind loop
	mine := float64(dead)
	for _, s := range d.g.vocabulary.Around.Slips {
		other, ok := s.Instead(said)
		if !ok {
			continue
		}
		if len(behind.at) == 0 {
			behind = d.around(c.end+1, min(d.frame, c.end+notFrames), true)
			mine, _ = d.asSaid(c, said, behind)
		}
		if theirs, ok := d.asSaid(c, other, behind); ok {
			lead = min(lead, mine-theirs)
		}
	}
	return lead
}

// asSaid is the score of these words from where a candidate begins to where it ends, or later.
func (d *decoder) asSaid(c candidate, said []string, behind loop) (score float64, ok bool) {
	side := &graph{vocabulary: d.g.vocabulary}
	var list []intents.Expr
	for _, w := range said {
		list = append(list, intents.Expr{Op: intents.Word, Text: w})
	}
	sp, err := side.addExpr(intents.Expr{Op: intents.Seq, Kids: list}, false)
	if err != nil {
		return 0, false
	}
	return d.beyond(side, c, sp, behind), true
}

package decide

import "coxswain/intents"

// Memory is what a listener remembers from one result to the next: the questions that it
// asked, and the speech that it has made something of. The zero value is ready.
type Memory struct {
	asked []int64
	open  *Question
	last  *Speech
}

// Hear decides about a result in a case of these facts (see Rules.Decide), and remembers the
// question that it asks or settles.
func (m *Memory) Hear(r *Rules, x intents.Result, need float64, f Facts) Decision {
	d := r.Decide(x, need, View{Facts: f, Asked: m.asked, Open: m.open, Last: m.last})
	switch {
	case d.Settled:
		m.open = nil
	case d.Dates && m.open != nil:
		m.open.About.When, m.last.Dated = timeOf(x), true
	}
	if d.Verdict != Ignore {
		m.last = &Speech{Start: x.Start, End: x.End, Asked: d.Verdict == Ask, Dated: d.Result.When != "",
			Fixed: r.fixed(d.Result.Callout), Bare: d.Verdict == Accept && lacksAmount(d.Result)}
	}
	if d.Verdict != Ask {
		return d
	}
	m.asked = append(m.asked, d.Result.Decided)
	if n := len(m.asked); n > inMinute {
		m.asked = m.asked[n-inMinute:]
	}
	m.open = &Question{At: d.Result.Decided, About: d.Result, When: d.When, Which: d.Which, Other: d.Other}
	for _, x := range d.Result.Rivals {
		m.open.Rivals = append(m.open.Rivals, x.Callout)
	}
	return d
}

package figures

import (
	"iter"
	"slices"

	"coxswain/timeline"
)

// mostWork bounds what the ranges of a record may cost: its uncertain events times
// all of them, each of which is then looked at. A code of two hours takes a fifth.
const mostWork = 1 << 21

// Ranged reports whether the figures of a record come with the range that its
// uncertain events leave them. A record of too many has none: no team calls so
// much, and its ranges could take hours.
func Ranged(events []timeline.Event) bool {
	gone, n := timeline.Retracted(events), 0
	for _, e := range events {
		if uncertain(e, gone) {
			n++
		}
	}
	return n*len(events) <= mostWork
}

// uncertain reports whether an event may well have been otherwise: unsure, taken
// back by the team, or back-dated.
func uncertain(e timeline.Event, gone map[uint64]bool) bool {
	return e.Unsure() && !gone[e.Seq] || takenBack(e) || backDated(e)
}

func takenBack(e timeline.Event) bool { return e.Kind == timeline.Retraction && e.Amend == nil }

func backDated(e timeline.Event) bool {
	return e.Replaces != 0 && e.Heard != nil && e.Heard.End != e.At
}

// otherwise yields the events as they would be if one uncertain event were
// different: an unsure one not there, one that was taken back still there, a
// back-dated one where it was heard.
func otherwise(events []timeline.Event) iter.Seq[[]timeline.Event] {
	return func(yield func([]timeline.Event) bool) {
		if !Ranged(events) {
			return
		}
		gone := timeline.Retracted(events)
		without := func(drop func(timeline.Event) bool) []timeline.Event {
			return slices.DeleteFunc(slices.Clone(events), drop)
		}
		for _, e := range events {
			var other []timeline.Event
			switch {
			case e.Unsure() && !gone[e.Seq]:
				other = without(func(x timeline.Event) bool { return x.Seq == e.Seq })
			case takenBack(e):
				other = without(func(x timeline.Event) bool {
					return x.Seq == e.Seq || x.Replaces == e.Retracts && e.Retracts != 0
				})
			case backDated(e):
				other = moved(events, e.Seq, e.Heard.End)
			default:
				continue
			}
			if !yield(other) {
				return
			}
		}
	}
}

// moved returns the events with one at another time.
func moved(events []timeline.Event, seq uint64, at timeline.Time) []timeline.Event {
	v := slices.Clone(events)
	for i := range v {
		if v[i].Seq == seq {
			v[i].At = at
		}
	}
	return v
}

package timeline

import (
	"iter"
	"math"
	"slices"
	"sort"
)

// Replay walks through a record in the order of time, with what was taken back
// left out: it yields every event up to end with the state that it found. The
// state has held since State.At. At last it yields an event of no kind at end,
// with the state that is left. One that was back-dated counts from the moment
// that was claimed. Whatever is told of a record (figures, tables, scores,
// hand-overs, exports) is told from this walk.
func Replay(events []Event, end Time) iter.Seq2[State, Event] {
	return func(yield func(State, Event) bool) {
		s := newState()
		for _, e := range standing(events) {
			if e.At > end {
				break
			}
			if !yield(s, e) {
				return
			}
			s.apply(e)
		}
		yield(s, Event{At: end})
	}
}

// Fold returns the state that the events leave.
func Fold(events []Event) State {
	var left State
	for s := range Replay(events, math.MaxInt64) {
		left = s
	}
	return left
}

// standing returns the events that were not retracted, in the order of At.
func standing(events []Event) []Event {
	gone := Retracted(events)
	order := slices.DeleteFunc(slices.Clone(events), func(e Event) bool { return gone[e.Seq] })
	sort.SliceStable(order, func(i, j int) bool { return order[i].At < order[j].At })
	return order
}

// Retracted returns the numbers of the events that later events take back, or, of a
// prompt that was cut off, tell anew.
func Retracted(events []Event) map[uint64]bool {
	gone := map[uint64]bool{}
	for _, e := range events {
		switch {
		case e.Kind == Retraction:
			gone[e.Retracts] = true
		case e.Kind == CueSpoken && e.Replaces != 0:
			gone[e.Replaces] = true
		}
	}
	return gone
}

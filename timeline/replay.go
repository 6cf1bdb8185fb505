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

// Repeated returns the numbers of the events that stand and tell of a shock or a dose that
// was told a moment before: they count once, with the first. See State.Repeats.
func Repeated(events []Event) map[uint64]bool {
	again := map[uint64]bool{}
	for s, e := range Replay(events, math.MaxInt64) {
		if s.Repeats(e) {
			again[e.Seq] = true
		}
	}
	return again
}

// Again is what is written behind an event that tells a shock or a dose a second time.
const Again = "told twice, counts once"

// standing returns the events that were not retracted, in the order of At.
func standing(events []Event) []Event {
	gone := Retracted(events)
	order := slices.DeleteFunc(toldAt(events), func(e Event) bool { return gone[e.Seq] })
	sort.SliceStable(order, func(i, j int) bool { return order[i].At < order[j].At })
	return order
}

// toldAt returns a copy of the events in which those that were moved know when they
// were called first.
func toldAt(events []Event) []Event {
	out := slices.Clone(events)
	var place map[uint64]int // by number; most records have nothing that was moved
	for i := range out {
		e := &out[i]
		if e.Replaces == 0 || e.Kind == CueSpoken {
			continue
		}
		if place == nil {
			place = make(map[uint64]int, len(out))
			for k := range out {
				place[out[k].Seq] = k
			}
		}
		if k, ok := place[e.Replaces]; ok && k < i {
			if told := max(out[k].At, out[k].told); told != e.At { // else it was put right, and not moved
				e.told = told
			}
		}
	}
	return out
}

// Retracted returns the numbers of the events that later events take back, or, of a
// prompt that was cut off, tell anew. What an undo, a correction or a move back did goes
// with it: if a reviewer withdraws that, what it took back stands again, and what it put
// in its place is gone.
func Retracted(events []Event) map[uint64]bool {
	gone := map[uint64]bool{}
	for i, e := range slices.Backward(events) {
		switch {
		case e.Kind == CueSpoken && e.Replaces != 0:
			gone[e.Replaces] = true
		case e.Kind != Retraction && e.Replaces == 0 || e.Amend != nil && e.Kind != Retraction:
		case e.Amend == nil && len(gone) > 0 && withdrawn(events[:i], gone):
			if e.Kind != Retraction {
				gone[e.Seq] = true
			}
		case e.Kind == Retraction:
			gone[e.Retracts] = true
		}
	}
	return gone
}

// withdrawn reports whether the callout that made coxswain append what follows the
// events, an undo, a correction or a move back, is gone itself.
func withdrawn(before []Event, gone map[uint64]bool) bool {
	for _, e := range slices.Backward(before) {
		f, _ := e.Kind.Family()
		switch {
		case e.Kind == Retraction || e.Kind == Question || e.Kind == CueSpoken || e.Replaces != 0:
		case e.Kind == Undo || e.Kind == Backdate || e.Kind == CorrectEnergy || f == "correct.drug.":
			return gone[e.Seq]
		default:
			return false
		}
	}
	return false
}

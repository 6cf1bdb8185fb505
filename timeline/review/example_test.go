package review_test

import (
	"fmt"

	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/review"
)

// A review is made of a journal's events and of the definitions of the figures.
func Example() {
	defs, err := figures.Definitions()
	if err != nil {
		fmt.Println(err)
		return
	}
	events := []timeline.Event{{Seq: 1, Kind: timeline.SessionOpen,
		Session: &timeline.Session{Wall: "2026-03-01T14:00:00Z", Rate: timeline.Rate}}}
	for k, e := range []struct {
		at   float64
		kind timeline.Kind
	}{{10, timeline.CodeStart}, {16, timeline.CompressionsStart}, {60, timeline.RhythmCheck}, {63, timeline.RhythmVF},
		{67, timeline.ShockGiven}, {70, timeline.CompressionsStart}, {130, timeline.SessionClose}} {
		events = append(events, timeline.Event{Seq: uint64(k + 2), At: timeline.Seconds(e.at), Kind: e.kind})
	}
	r := review.Of(events, defs)
	for _, f := range r.Figures() {
		if f.ID == "pre_shock_pause" || f.ID == "first_compression" || f.ID == "compression_rate" {
			fmt.Println(f.Name, f.Known, f.Value, f.Unit)
		}
	}
	for _, x := range r.Rows[1:4] {
		fmt.Println(x.At, x.Text)
	}
	// Output:
	// Pre-shock pause, median true 7 s
	// Time to first compression true 6 s
	// True compression rate false 0 /min
	// 0:10.0 code started
	// 0:16.0 compressions started
	// 1:00.0 rhythm check
}

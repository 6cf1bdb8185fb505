package timeline

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
)

// walk steps a machine through random callouts, mostly those of a code, a few seconds
// apart, and calls each with what it found before, the callout and what it led to.
type walk struct {
	*stage
	r *rand.Rand
}

func newWalk(p *Protocol, seed uint64) *walk {
	return &walk{&stage{m: NewMachine(p)}, rand.New(rand.NewPCG(seed, 7))}
}

// call is a random callout, a moment later.
func (w *walk) call() Event {
	w.until(w.now + Time(w.r.IntN(12*Rate)))
	kind, values := anything(w.r)
	return w.said(kind, values)
}

// said is a callout now.
func (w *walk) said(kind Kind, values map[string]float64) Event {
	e := Event{At: w.now, Kind: kind, Values: values}
	w.step(e)
	return e
}

// meant is what of a state an undo brings back: all but when somebody spoke last, what
// was asked of it, and what an end waits for.
func meant(s State) string {
	s.At, s.HeardAt, s.asked, s.answered, s.Pending, s.PendingAt = 0, 0, "", "", "", 0
	s.untakes = false
	return fmt.Sprintf("%+v", s)
}

// An undo brings the state back that was there before, whatever was called: 300 walks, an
// undo after each callout that one takes back.
func TestUndoBringsBack(t *testing.T) {
	all := everyProtocol(t)
	for seed := range uint64(300) {
		w := newWalk(all[seed%uint64(len(all))], seed)
		var last string
		for range 40 {
			was := w.m.State()
			e := w.call()
			last += fmt.Sprintf("\n%s %s", e.At, e.Describe())
			if e.Kind.Row().Control || e.Kind.Row().Confirm || e.Kind == Confirm || was.Ended != Never {
				continue // no undo takes these back, or it takes back the end of the case
			}
			if _, end := w.m.mistaken(Event{At: w.now + Rate, Kind: Undo}); end { // behind "same patient?"
				continue
			}
			again := w.m.State()
			if again.by != was.by { // who was asked about goes with who was named: see untaken.go
				continue
			}
			w.until(w.now + Rate)
			w.said(Undo, nil)
			if got := w.m.State(); meant(got) != meant(was) {
				t.Fatalf("walk %d: %s\nbefore %s\nafter  %s\nundone %s", seed, last, meant(was), meant(again), meant(got))
			}
			w.until(w.now + Rate)
			w.said(e.Kind, e.Values)
		}
	}
}

// No drug is called due that was just given, by what stands then.
func TestNothingDueThatWasGiven(t *testing.T) {
	all := everyProtocol(t)
	for seed := range uint64(400) {
		p := all[seed%uint64(len(all))]
		w := newWalk(p, seed)
		for range 40 {
			w.call()
			w.out.Reset()
			for end := w.now + Time(w.r.IntN(40*Rate)); w.now < end; w.now += Rate / 10 {
				for _, c := range w.m.Tick(w.now) {
					drug, s := doseOf(c), w.m.State()
					for _, d := range s.Doses(strings.TrimSuffix(drug, "_infusion")) {
						soon := p.For(s).Span("epinephrine_due_s")
						if drug != "epinephrine" {
							soon = Seconds(30)
						}
						if d.At <= w.now && w.now-d.At < soon {
							t.Fatalf("walk %d: %s, given at %s", seed, c.Describe(), d.At)
						}
					}
				}
			}
		}
	}
}

// What is told late, in any order and for any moment, leaves the state that the record
// gives, whoever reads it: this machine, one that is resumed in the middle, and a replay.
func TestLateFactsAreTheRecords(t *testing.T) {
	all := everyProtocol(t)
	for seed := range uint64(200) {
		p := all[seed%uint64(len(all))]
		w := newWalk(p, seed)
		for n := range 40 {
			w.until(w.now + Time(w.r.IntN(8*Rate)))
			kind, values := anything(w.r)
			e := Event{At: w.now, Kind: kind, Values: values}
			switch w.r.IntN(4) {
			case 0: // heard late
				e.At = max(0, w.now-Time(w.r.IntN(100*Rate)))
			case 1: // called with its time
				w.seq++
				e.Seq = w.seq
				for _, more := range w.m.Add(e, w.now) {
					w.step(more)
				}
				e = Event{At: w.now, Kind: Backdate, Values: map[string]float64{"minutes": float64(w.r.IntN(3))}}
			}
			w.step(e)
			if got, want := fmt.Sprintf("%+v", w.m.State()), fmt.Sprintf("%+v", Fold(w.m.events)); got != want {
				t.Fatalf("walk %d, callout %d: %s\nstate %s\nfold  %s", seed, n, e.Describe(), got, want)
			}
			if n == 20 {
				w.m = NewMachine(p, w.m.events...)
			}
		}
	}
}

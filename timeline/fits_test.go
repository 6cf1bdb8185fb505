package timeline

import (
	"strings"
	"testing"
)

// What comes next, and what is planned to be said, fits the state, whatever was called: a shock where
// one is seen with hands off, hands where there is no pulse, none of either with one or under E C M O,
// nothing behind an end, and no amount while nobody knows whose it is.
func TestNextFitsTheState(t *testing.T) {
	all := everyProtocol(t)
	for seed := range uint64(200) {
		w := newWalk(all[seed%uint64(len(all))], seed+9000)
		for range 30 {
			e := w.call()
			s, m := w.m.State(), w.m
			next := m.next(Event{At: w.now, Kind: AskNext}, w.now)
			if !fits(m.protocol.For(s), s, next, w.now) {
				t.Errorf("walk %d, %s %s: next is %s", seed, e.At, e.Describe(), next.Describe())
			}
			for _, c := range m.agenda {
				if c.At > w.now && !mayBeDue(m.protocol.For(s), s, c) {
					t.Errorf("walk %d, %s %s: %s", seed, e.At, e.Describe(), c.Describe())
				}
			}
		}
	}
}

func amount(c Cue) bool { return c.Values["dose_mg"] > 0 || c.Values["energy_j"] > 0 }

func fits(p *Protocol, s State, next Cue, now Time) bool {
	hands, shock := next.ID == "next.compressions" || next.ID == "next.clear.not", next.ID == "next.defibrillation"
	seen := s.Rhythm.Shockable() && s.RhythmAt == now && !p.spentInCold(s) && !s.shockedIn()
	switch {
	case s.heldOpen() && amount(next):
		return false
	case s.Ended != Never:
		return strings.HasPrefix(next.ID, "answer.")
	case s.OfNewborn():
		return next.ID == "next.newborn"
	case s.InArrest() && s.Clear():
		return next.ID == "next.clear" || p.spentInCold(s) && next.ID == "said.shock.clear"
	case s.InArrest() && !s.Compressing && seen:
		return shock
	case s.InArrest() && !s.Compressing && !p.byMachine(s):
		return hands || shock
	case s.PulsePresent || s.OnECMO() && !s.Compressing:
		return !hands && (!shock || s.InArrest())
	}
	return true
}

func mayBeDue(p *Protocol, s State, c Cue) bool {
	group, _, _ := strings.Cut(c.ID, ".")
	hands := group == "pause" || group == "start"
	switch {
	case s.heldOpen() && amount(c), s.Dead, s.OfNewborn() && group != "silence":
		return false
	case s.PulsePresent:
		return !hands && group != "cycle" && group != "epinephrine"
	case p.byMachine(s):
		return !hands && group != "epinephrine" && (group != "cycle" || s.Compressing)
	}
	return true
}

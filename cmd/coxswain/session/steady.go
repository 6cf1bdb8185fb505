package session

import (
	"fmt"
	"slices"
	"time"

	"coxswain/audio"
	"coxswain/timeline"
)

// Beats tell how evenly the metronome really sounded, by the device's own account
// of when it played each beat.
type Beats struct {
	Uneven bool                       `json:"uneven"`   // too many of the last twenty were off: nobody should follow them
	Off    int                        `json:"off"`      // more than 20 ms off, of the last twenty
	Lost   int                        `json:"lost"`     // that did not sound at all, of the last twenty
	Worst  float64                    `json:"worst_ms"` // how far the worst of them was off
	Past   [len(offBounds) + 1]uint64 `json:"past"`     // since the start, by how far each was off: see OffBounds
	Sum    float64                    `json:"sum_s"`    // of what they were off
	Gone   uint64                     `json:"gone"`     // that did not sound, since the start
	Most   float64                    `json:"most_ms"`  // how far the worst of all was off, since the start
	Silent bool                       `json:"silent"`   // none sounded lately
}

// String tells how the metronome has sounded since the start.
func (b Beats) String() string {
	all, off := b.Gone, uint64(0)
	for k, n := range b.Past {
		if all += n; k > 0 && offBounds[k-1] >= offFrom.Seconds() {
			off += n
		}
	}
	if all == 0 {
		return "silent"
	}
	how := "even"
	switch {
	case b.Uneven:
		how = "UNEVEN, try buffer_ms 200"
	case b.Silent:
		how = "silent now"
	}
	text := fmt.Sprintf("%s; of %d ticks %d were more than 20 ms off", how, all, off)
	if off > 0 {
		text += fmt.Sprintf(" (by up to %.0f ms)", b.Most)
	}
	return text + fmt.Sprintf(", %d did not sound; of the last %d %d and %d", b.Gone, lately, b.Off, b.Lost)
}

// OffBounds are the upper bounds of Beats.Past, in seconds; the last slot has none.
func OffBounds() []float64 { return offBounds[:] }

var offBounds = [...]float64{0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2}

const (
	// offFrom is from where on a beat counts as off. Common practice, no source: at 110
	// a minute it is one part in 27, which a team that follows it hears.
	offFrom = 20 * time.Millisecond
	// unevenFrom of the last lately beats make the beat uneven; evenTo, even again.
	lately, unevenFrom, evenTo = 20, 6, 1
	// nearby is how many beats make the rhythm that the next is held to.
	nearby = 9
	// beatless is how long no beat means that the metronome is off: a cycle without one.
	beatless = 10 * time.Second
)

// steadiness holds each beat to the rhythm of those before it, as an ear does: a
// device that keeps all of them for longer is even.
type steadiness struct {
	waiting []beat // sent, not heard yet
	delays  []time.Duration
	last    [lately]time.Duration // how far off; lostBeat: it did not sound
	n       int                   // beats in last, of all since the metronome began
	at      time.Duration         // of the last beat
	sum     Beats
	told    gaps // off or lost, not told of yet
	lost    int  // of these, lost
	worst   time.Duration
}

// lostBeat stands for a beat that did not sound.
const lostBeat = time.Duration(-1)

// beat is one that was sent to the loudspeaker.
type beat struct {
	sample int64         // of all that was sent
	due    time.Duration // by the session's clock, without the delay of the device
}

// sent notes a beat on its way to the loudspeaker.
func (s *steadiness) sent(b beat) { s.waiting = append(s.waiting, b) }

// played takes what the device tells: from which sample on, how many, and when.
func (s *steadiness) played(from, n int64, at, now time.Duration) {
	for len(s.waiting) > 0 && s.waiting[0].sample < from+n {
		b := s.waiting[0]
		s.waiting = s.waiting[1:]
		if b.sample < from { // its piece was not told of
			continue
		}
		s.heard(at+audio.Duration(b.sample-from)-b.due, now)
	}
}

// heard takes the delay with which a beat sounded.
func (s *steadiness) heard(delay, now time.Duration) {
	s.pause(now)
	s.delays = append(s.delays, delay)
	s.delays = s.delays[max(0, len(s.delays)-nearby):]
	usual := slices.Clone(s.delays)
	slices.Sort(usual)
	s.count((delay - usual[len(usual)/2]).Abs(), now)
}

// missed counts a beat that will not sound. One that is lost in a hole that is told of
// by itself makes nothing uneven: new is false.
func (s *steadiness) missed(now time.Duration, new bool) {
	if !new {
		s.sum.Gone++
		return
	}
	s.pause(now)
	s.count(lostBeat, now)
}

// reopened: what waited for a device that is gone is lost, and the next one has a
// delay of its own.
func (s *steadiness) reopened(now time.Duration) {
	for range s.waiting {
		s.missed(now, false)
	}
	s.waiting, s.delays = nil, nil
}

// pause begins anew where the metronome was off.
func (s *steadiness) pause(now time.Duration) {
	if now-s.at > beatless {
		s.n, s.delays = 0, nil
	}
	s.at = now
}

func (s *steadiness) count(off, now time.Duration) {
	s.last[s.n%lately] = off
	s.n++
	switch {
	case off == lostBeat:
		s.sum.Gone++
		s.lost++
	default:
		k := 0
		for k < len(offBounds) && off.Seconds() > offBounds[k] {
			k++
		}
		s.sum.Past[k]++
		s.sum.Most = max(s.sum.Most, float64(off)/float64(time.Millisecond))
		s.sum.Sum += off.Seconds()
	}
	if off == lostBeat || off > offFrom {
		s.told.add(0, now)
		s.worst = max(s.worst, off)
	}
	s.judge()
}

// judge looks at the last beats.
func (s *steadiness) judge() {
	b := &s.sum
	b.Off, b.Lost, b.Worst = 0, 0, 0
	for _, off := range s.last[:min(s.n, lately)] {
		switch {
		case off == lostBeat:
			b.Lost++
		case off > offFrom:
			b.Off++
		}
		b.Worst = max(b.Worst, float64(off)/float64(time.Millisecond))
	}
	if bad := b.Off + b.Lost; b.Uneven {
		b.Uneven = bad > evenTo
	} else {
		b.Uneven = bad >= unevenFrom
	}
}

// beats is how evenly they sound now; nothing is uneven where none sounds.
func (s *steadiness) beats(now time.Duration) Beats {
	if s.sum.Silent = now-s.at > beatless; s.sum.Silent {
		s.n = 0
		s.judge()
		s.sum.Uneven = false
	}
	return s.sum
}

// tell says in words which beats were off, once that is over or has lasted ten
// seconds; empty while there is nothing to tell.
func (s *steadiness) tell(now time.Duration) string {
	n, _ := s.told.told(now)
	if n == 0 {
		return ""
	}
	lost, worst := s.lost, s.worst
	s.lost, s.worst = 0, 0
	text := ""
	if off := n - lost; off > 0 {
		text = fmt.Sprintf("%s off the beat, by up to %v",
			counted(off, "tick was", "ticks were"), worst.Round(time.Millisecond))
	}
	if lost > 0 && text != "" {
		text += "; "
	}
	if lost > 0 {
		text += counted(lost, "tick", "ticks") + " of the metronome did not sound"
	}
	return text
}

func counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// beatOf returns the metronome's beat that begins in the block just rendered, as it is
// sent next; false if none does, or there is no loudspeaker.
func (l *Live) beatOf() (beat, bool) {
	at := l.s.now.sched.LastBeat()
	into := at - (l.s.player.Pos() - audio.Block)
	if at < 0 || into < 0 || into >= audio.Block || l.dev == nil || l.dev.Missing() == "loudspeaker" {
		return beat{}, false
	}
	return beat{l.e.Sent() + into, l.clock.origin + audio.Duration(at)}, true
}

// followBeat holds the metronome to what the device says it played, logs what was off,
// and says it when the beat is not to be followed.
func (l *Live) followBeat(now time.Duration) {
	for p, ok := l.e.Played(); ok; p, ok = l.e.Played() {
		l.beat.played(p.Sample, audio.Block, p.At.Sub(l.begun)+l.slept-l.slept0, now)
	}
	if text := l.beat.tell(now); text != "" {
		l.s.note(timeline.Fault, text)
	}
	was := l.s.beats.Uneven
	switch l.s.beats = l.beat.beats(now); {
	case l.s.beats.Uneven && !was && now >= l.unevenTo:
		l.unevenTo, l.unevenSaid = now+time.Minute, true
		l.s.fault(timeline.Fault, "fault.beat",
			fmt.Sprintf("the metronome is uneven: of its last %d ticks %d were off, %d did not sound",
				lately, l.s.beats.Off, l.s.beats.Lost))
	case was && !l.s.beats.Uneven && l.unevenSaid:
		l.unevenSaid = false
		if now-l.beat.at < beatless {
			l.s.fault(timeline.Recovered, "fault.beat.back", "the metronome is even again")
		}
	}
}

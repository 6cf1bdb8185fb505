package prompts

import (
	"slices"
	"sort"

	"coxswain/audio"
	"coxswain/timeline"
)

// Spoken reports what became of a cue.
type Spoken struct {
	Cue     timeline.Cue
	At      timeline.Time // sample at which its first sound is placed
	Text    string
	Until   timeline.Time // sample after its last sound, unless it is cut off
	Dropped string        // why it was not said; empty if it was
}

// Scheduler decides which cue sounds when: one voice at a time, the higher
// priority first, a higher one cuts a lower one off, a stale one is dropped.
// Beats go on under speech, in phase. It is driven by Advance with the sample
// that will be rendered next; it is for one goroutine.
type Scheduler struct {
	voice  *Voice
	player *audio.Player
	volume float64
	queue  []timeline.Cue
	now    timeline.Cue // the one that sounds
	beat   Metronome
	on     bool
	beatTo int64 // beats before this sample are placed
	breath int64 // start of ventilation ticks; negative: none
	every  int64
	lastB  int64
	gone   []Spoken // withdrawn since the last Advance
}

// NewScheduler returns a scheduler that speaks with voice through player.
func NewScheduler(voice *Voice, player *audio.Player, volume float64) *Scheduler {
	return &Scheduler{voice: voice, player: player, volume: volume, breath: -1}
}

// SetVolume sets the gain of everything placed from now on, 0 to 1.
func (s *Scheduler) SetVolume(v float64) { s.volume = v }

// Offer queues a cue.
func (s *Scheduler) Offer(c timeline.Cue) {
	if len(s.queue) < 100 {
		s.queue = append(s.queue, c)
	}
}

// Withdraw takes the cues out of the queue that must not be said any more, and
// says why.
func (s *Scheduler) Withdraw(why string, gone func(timeline.Cue) bool) {
	s.queue = slices.DeleteFunc(s.queue, func(c timeline.Cue) bool {
		if !gone(c) {
			return false
		}
		s.gone = append(s.gone, Spoken{Cue: c, At: timeline.Time(s.player.Pos()), Text: s.voice.Sentence(c), Dropped: why})
		return true
	})
}

// StartBeat runs the metronome from sample m.Start on; a running one with the
// same rate keeps its phase.
func (s *Scheduler) StartBeat(m Metronome) {
	if s.on && s.beat.Rate == m.Rate && s.beat.Beats == m.Beats && s.beat.Breaths == m.Breaths {
		return
	}
	if s.on && s.beat.Rate == m.Rate { // 30:2 to continuous or back: the next beat stays where it was
		_, m.Start = s.beat.Next(max(s.beatTo, m.Start))
	}
	s.beat, s.on = m, true
	s.beatTo = max(s.beatTo, m.Start)
}

// StopBeat ends the metronome.
func (s *Scheduler) StopBeat() { s.on = false }

// Breathe ticks a breath every so many samples from sample from on; a negative
// from stops it.
func (s *Scheduler) Breathe(from, every int64) {
	if from != s.breath || every != s.every {
		s.breath, s.every, s.lastB = from, every, -1
	}
}

// Advance places all sound that begins in [player.Pos(), player.Pos()+n) and
// returns what was said or dropped. Call it before rendering these samples.
func (s *Scheduler) Advance(n int) []Spoken {
	from, to := s.player.Pos(), s.player.Pos()+int64(n)
	s.beats(from, to)
	s.breaths(from, to)
	out := s.gone
	s.gone = nil
	sort.SliceStable(s.queue, func(i, j int) bool { return s.queue[i].Priority > s.queue[j].Priority })
	keep := s.queue[:0]
	for _, c := range s.queue {
		at := max(int64(c.At), from)
		busy := s.player.TalkUntil() > at
		switch {
		case from > int64(c.Expires):
			out = append(out, Spoken{Cue: c, At: timeline.Time(from), Text: s.voice.Sentence(c), Dropped: "too late"})
		case at >= to, busy && c.Priority <= s.now.Priority:
			keep = append(keep, c)
		default:
			clip := s.voice.Speak(c)
			at = s.player.Say(at, clip, s.volume)
			s.now = c
			out = append(out, Spoken{Cue: c, At: timeline.Time(at), Until: timeline.Time(at + int64(clip.Len())), Text: s.voice.Sentence(c)})
		}
	}
	s.queue = keep
	return out
}

func (s *Scheduler) beats(from, to int64) {
	if !s.on || to <= s.beatTo {
		return
	}
	for k, at := s.beat.Next(max(from, s.beatTo)); at < to; k++ {
		clip := tick
		if s.beat.Beats > 0 && k%int64(s.beat.Beats) == 0 {
			clip = accent
		}
		s.player.Beat(at, clip, s.volume)
		at = s.beat.At(k + 1)
	}
	s.beat.breathsIn(max(from, s.beatTo), to, func(at int64) { s.player.Beat(at, soft, s.volume) })
	s.beatTo = to
}

func (s *Scheduler) breaths(from, to int64) {
	if s.breath < 0 || s.every <= 0 {
		return
	}
	k := max(1, (from-s.breath+s.every-1)/s.every)
	if at := s.breath + k*s.every; at >= from && at < to && k != s.lastB {
		s.lastB = k
		s.player.Beat(at, breath, s.volume)
	}
}

package prompts

// StartBeat runs the metronome from sample m.Start on. One that runs keeps its
// phase: at another rate or mode the next beat stays where it was.
func (s *Scheduler) StartBeat(m Metronome) {
	start := m.Start
	m.Start = s.beat.Start
	if s.on && s.beat == m {
		return
	}
	if m.Start = start; s.on {
		_, m.Start = s.beat.Next(max(s.beatTo, start))
	}
	s.beat, s.on = m, true
	s.beatTo = max(s.beatTo, m.Start)
}

// LastBeat is the sample at which the metronome's latest beat begins, on the player's
// clock; negative: there was none.
func (s *Scheduler) LastBeat() int64 { return s.beatAt }

// StopBeat ends the metronome; a beat that sounds fades out within 10 ms.
func (s *Scheduler) StopBeat() {
	if s.on {
		s.player.StopBeats()
	}
	s.on = false
}

// Breathe ticks a breath every so many samples from sample from on; a negative
// from stops it.
func (s *Scheduler) Breathe(from, every int64) {
	if from != s.breath || every != s.every {
		s.breath, s.every, s.lastB = from, every, -1
	}
}

// beats places the beats that begin in [from, to), and the breaths between them.
func (s *Scheduler) beats(from, to int64) {
	if !s.on || to <= s.beatTo {
		return
	}
	from = max(from, s.beatTo)
	for k, at := s.beat.Next(from); at < to; k++ {
		clip := tick
		if s.beat.Beats > 0 && k%int64(s.beat.Beats) == 0 {
			clip = accent
		}
		s.player.Beat(at, clip, s.volume)
		s.beatAt = at
		at = s.beat.At(k + 1)
	}
	s.beat.breathsIn(from, to, func(at int64) { s.player.Beat(at, soft, s.volume) })
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

package prompts

import (
	"slices"
	"sort"
	"strings"

	"coxswain/audio"
	"coxswain/timeline"
)

// Spoken reports what became of a cue. One that is cut off is reported twice:
// when it begins, and when it falls silent.
type Spoken struct {
	Cue     timeline.Cue
	At      timeline.Time // sample at which its first sound is placed
	Text    string
	Until   timeline.Time // sample after its last sound: planned, or with Cut what became of it
	Cut     bool          // it fell silent before its end
	Dropped string        // why it was not said; empty if it was
}

// patience is how long a cue waits while somebody speaks, by its priority: common
// practice, no source, but that hands-off time and alarms wait for nobody.
var patience = map[timeline.Priority]timeline.Time{
	timeline.Advice:   timeline.Seconds(30), // as long as it is worth saying
	timeline.Answer:   timeline.Seconds(2),
	timeline.Due:      timeline.Seconds(4),
	timeline.Cycle:    timeline.Seconds(2),
	timeline.HandsOff: 0,
	timeline.Urgent:   timeline.Seconds(1),
	timeline.ReadBack: timeline.Seconds(2), // then the loop is closed all the same
	timeline.Alarm:    0,
}

// again is how long after it was cut a cue is still worth saying: common practice,
// no source.
const again = 8 * timeline.Rate

// listed is how long an answer is that is a list: common practice, no source.
const listed = 8 * timeline.Rate

// breather is how long advice leaves after the last sentence: common practice, no
// source. What is more urgent then comes first, and cuts nothing off.
const breather = timeline.Rate

// stale is how late a cue may be said in full: "fifteen seconds" is not true any more
// two seconds later.
const stale = timeline.Rate

// lull is how long a cue waits after somebody spoke: what was called is understood
// within that time, and answered first. Measured: 0.4 s after the phrase's end, of
// which the signal that somebody speaks takes 0.25.
const lull = timeline.Rate * 3 / 10

// Scheduler decides which cue sounds when: one voice at a time, the higher
// priority first, a higher one cuts a lower one off, a stale one is dropped, and
// none begins while somebody speaks, within its patience. What was cut off is said
// again, shortened, when there is room and if it still holds.
// Beats go on under speech, in phase. It is driven by Advance with the sample
// that will be rendered next; it is for one goroutine.
type Scheduler struct {
	voice  *Voice
	player *audio.Player
	volume float64
	queue  []queued
	now    said  // the one that sounds
	speech bool  // somebody speaks
	spoke  int64 // sample at which somebody last did
	fresh  func(timeline.Cue) (timeline.Cue, bool)
	beat   Metronome
	on     bool
	beatTo int64 // beats before this sample are placed
	beatAt int64 // where the latest one begins; negative: there was none
	breath int64 // start of ventilation ticks; negative: none
	every  int64
	lastB  int64
	gone   []Spoken // withdrawn since the last Advance
}

// queued is a cue that waits.
type queued struct {
	timeline.Cue
	whole timeline.Cue // as it was offered
	since int64        // sample from which only somebody's speech held it up; 0: not yet
	cut   bool         // it was cut off before
}

// before reports whether q goes before another cue that waits: by priority, and an answer that nobody
// has heard of before one that was cut off, for a newer question.
func (q queued) before(other queued) bool {
	if q.Priority != other.Priority {
		return q.Priority > other.Priority
	}
	return q.Priority == timeline.Answer && !q.cut && other.cut
}

// said is a cue that sounds, or did.
type said struct {
	queued
	at, until int64
	text      string
}

// NewScheduler returns a scheduler that speaks with voice through player.
func NewScheduler(voice *Voice, player *audio.Player, volume float64) *Scheduler {
	fresh := func(c timeline.Cue) (timeline.Cue, bool) { return c, true }
	return &Scheduler{voice: voice, player: player, volume: volume, beatAt: -1, breath: -1, spoke: -lull, fresh: fresh}
}

// SetVolume sets the gain of everything placed from now on, 0 to 1.
func (s *Scheduler) SetVolume(v float64) { s.volume = v }

// SetFresh gives the rule that makes a cue anew that had to wait or was cut off, from
// what is known now, and tells whether it still holds. Without one all stay as they are.
func (s *Scheduler) SetFresh(fresh func(timeline.Cue) (timeline.Cue, bool)) { s.fresh = fresh }

// Speech tells whether somebody speaks in the room now.
func (s *Scheduler) Speech(on bool) {
	if s.speech = on; on {
		s.spoke = s.player.Pos()
	}
}

// Offer queues a cue.
func (s *Scheduler) Offer(c timeline.Cue) {
	if len(s.queue) < 100 {
		s.queue = append(s.queue, queued{Cue: c, whole: c})
	}
}

// Withdraw takes the cues out of the queue that must not be said any more, and
// says why.
func (s *Scheduler) Withdraw(why string, gone func(timeline.Cue) bool) {
	s.queue = slices.DeleteFunc(s.queue, func(c queued) bool {
		if gone(c.whole) {
			s.gone = append(s.gone, s.drop(c, s.player.Pos(), why))
			return true
		}
		return false
	})
}

// Advance places all sound that begins in [player.Pos(), player.Pos()+n) and
// returns what was said, cut off or dropped. Call it before rendering these samples.
func (s *Scheduler) Advance(n int) []Spoken {
	from, to := s.player.Pos(), s.player.Pos()+int64(n)
	s.beats(from, to)
	s.breaths(from, to)
	out := s.gone
	s.gone = nil
	sort.SliceStable(s.queue, func(i, j int) bool { return s.queue[i].before(s.queue[j]) })
	waiting := slices.Clone(s.queue)
	s.queue = s.queue[:0]
	for _, c := range waiting {
		at := max(int64(c.At), from)
		busy := s.player.TalkUntil() > at || c.Priority == timeline.Advice && s.player.TalkUntil()+breather > at
		switch {
		case from > int64(c.Expires):
			out = append(out, s.drop(c, from, "too late"))
		case at >= to, busy && (c.Priority <= s.now.Priority || s.hearsOut(c)) && !s.overtakes(c):
			s.queue = append(s.queue, c)
		case s.wait(&c, from, to):
			s.queue = append(s.queue, c)
		case !s.renew(&c):
			out = append(out, s.drop(c, from, "no longer due"))
		default:
			if busy {
				out = append(out, s.interrupt(at)...)
			}
			out = append(out, s.say(c, at))
		}
	}
	return out
}

// hearsOut reports whether a drug that is due waits for an answer that sounds: it is worth
// saying after it, and the answer is not said twice.
func (s *Scheduler) hearsOut(c queued) bool {
	return c.Priority == timeline.Due && s.now.Priority == timeline.Answer && s.player.TalkUntil() < int64(c.Expires)
}

// overtakes reports whether a cue cuts one of its own priority: the answer to a question that was
// asked while a long list is read out, or one is said again, for whoever asks has heard enough of
// that; and what was done while it is said what comes next, which is not true any more.
func (s *Scheduler) overtakes(c queued) bool {
	if c.Priority == timeline.Urgent {
		return strings.HasPrefix(s.now.ID, "next.") && !strings.HasPrefix(c.ID, "next.")
	}
	answers := c.Priority == timeline.Answer && s.now.Priority == timeline.Answer
	long := s.now.until-s.now.at > listed
	return answers && s.now.About != 0 && c.About > s.now.About && (long || s.now.cut)
}

// renew makes a cue that is about to be said from what is known now; false: it does
// not hold any more.
func (s *Scheduler) renew(c *queued) bool {
	whole, ok := s.fresh(c.whole)
	if !ok {
		return false
	}
	at, expires := c.At, c.Expires
	if c.whole, c.Cue = whole, whole; c.cut {
		c.Cue = s.voice.Short(whole)
	}
	c.At, c.Expires = at, expires
	return true
}

// wait reports whether a cue that could be said has to wait for somebody who
// speaks. Advice waits until it is stale, the rest is said at the latest then.
func (s *Scheduler) wait(c *queued, from, to int64) bool {
	if c.since == 0 {
		c.since = from
	}
	if from-c.since >= int64(patience[c.Priority]) {
		return false
	}
	called := c.Priority == timeline.ReadBack || c.Priority == timeline.Urgent || c.Priority == timeline.Answer
	talks := s.speech || !called && from < s.spoke+lull
	return talks && (c.Priority == timeline.Advice || to <= int64(c.Expires))
}

func (s *Scheduler) drop(c queued, at int64, why string) Spoken {
	return Spoken{Cue: c.Cue, At: timeline.Time(at), Text: s.voice.Sentence(c.Cue), Dropped: why}
}

func (s *Scheduler) say(c queued, at int64) Spoken {
	if at-int64(c.whole.At) > stale {
		c.Cue = s.voice.Short(c.whole)
	}
	sound := s.voice.Speak(c.Cue)
	at = s.player.Say(at, sound, s.volume)
	s.now = said{c, at, s.player.TalkUntil(), s.voice.Sentence(c.Cue)}
	return Spoken{Cue: c.Cue, At: timeline.Time(at), Until: timeline.Time(s.now.until), Text: s.now.text}
}

// interrupt fades out what sounds, for something that begins at sample at, and
// queues it again, shortened.
func (s *Scheduler) interrupt(at int64) []Spoken {
	// A warning is followed by what it warns of: it is not said again. Nor is a long list: whoever
	// asked for it asks again, when there is room.
	long := s.now.Priority == timeline.Answer && s.now.until-s.now.at > listed
	if c := s.now.queued; !c.cut && !long && s.now.text != "" && !strings.HasSuffix(c.ID, ".warning") {
		c.Cue = s.voice.Short(c.whole)
		c.cut, c.since, c.At, c.Expires = true, 0, timeline.Time(at), timeline.Time(at)+again
		s.queue = append(s.queue, c)
	}
	return s.Silence()
}

// Silence fades out what sounds, and reports it if it was cut off by that. What
// waits stays.
func (s *Scheduler) Silence() []Spoken {
	c := s.now
	if !s.player.Talking() || c.text == "" { // nothing sounds, or nothing of ours
		s.player.Hush()
		return nil
	}
	s.player.Hush()
	until := timeline.Time(s.player.TalkUntil())
	return []Spoken{{Cue: c.Cue, At: timeline.Time(c.at), Until: until, Text: c.text, Cut: true}}
}

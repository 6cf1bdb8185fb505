package session

import (
	"iter"
	"strings"

	"coxswain/audio"
	"coxswain/prompts"
	"coxswain/timeline"
)

const (
	// roomEchoes is what room, sound server and a busy machine add to the least way from our
	// loudspeaker to our microphone: with a buffer of 20 ms the longest way is 0.25 s.
	roomEchoes = audio.Rate * 23 / 100
	// atWords is how far from their place in our sentence its words may be heard: the
	// place goes by letters, which take unlike times to say.
	atWords = audio.Rate * 2 / 5
	// plainly is the confidence of what cannot be ours. Common practice, no source: our own
	// words came back at up to 0.86.
	plainly = 0.9
	// shortest is shorter than any words that were spoken: what is typed takes less.
	shortest = audio.Rate / 10
)

// echoes is the longest way from our loudspeaker to our microphone, in samples. A device
// that holds more sound is heard by as much later.
func (o *Options) echoes() timeline.Time {
	const usual = 2 // blocks that a device holds
	holds := int64(max(o.Lead, audio.Lead)-audio.Lead+usual) * audio.Block
	return timeline.Time(max(holds, int64(o.LoopDelay.Seconds()*audio.Rate)) + roomEchoes)
}

// ownVoice reports whether the words lie within a prompt of ours that says
// them, and were heard while it said them: what comes back from the loudspeaker
// is no callout. A leader who says them after us is heard, and so is one who says
// "confirmed" before we have come to the end of "say confirmed".
func (s *oneCase) ownVoice(h *timeline.Heard) bool {
	if h.End-h.Start < shortest {
		return false
	}
	for sp := range s.soundedUnder(h) {
		ours, words := plain(sp.Text), plain(h.Text)
		if h.Confidence < plainly {
			ours, words = likeYes.Replace(ours), likeYes.Replace(words)
		}
		i := strings.Index(ours, words)
		if i < 0 || h.Start <= sp.At {
			continue
		}
		if h.Start < sp.Until && strings.HasPrefix(sp.Cue.ID, "hear.") {
			return true // a question of ours is not answered by its own sound, however late that comes
		}
		if h.End >= sp.Until+s.o.echoes() {
			continue
		}
		from := sp.At + (sp.Until-sp.At)*timeline.Time(i)/timeline.Time(len(ours))
		if strings.LastIndex(ours, words) != i || h.Start > from-atWords {
			return true
		}
	}
	return false
}

// plain are the words of a text between blanks.
func plain(text string) string {
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return r < 'a' || r > 'z' })
	return " " + strings.Join(words, " ") + " "
}

// likeYes are words of ours that are heard as a yes, though less plainly than one: at 0.57 at most.
var likeYes = strings.NewReplacer(" confirmation ", " confirmed ", " confirm ", " confirmed ")

// beginsUnder reports whether a callout that would begin the first case was heard while a
// sentence of ours sounded. Before anybody has spoken the echo canceller does not know the
// room, and our first words have been taken for a rhythm, at 0.86. What is plainly heard, the
// start, and that hands are on the chest, count all the same.
func (s *oneCase) beginsUnder(k timeline.Kind, h *timeline.Heard) bool {
	begun := s.machine.State().Started != timeline.Never
	urgent := k == timeline.CodeStart || k == timeline.CompressionsStart
	if begun || urgent || !opens(k) || h.Confidence >= plainly || h.End-h.Start < shortest {
		return false
	}
	for range s.soundedUnder(h) {
		return true
	}
	return false
}

// soundedUnder are the sentences of ours that sounded while the words were heard, or might
// still have come back then.
func (s *oneCase) soundedUnder(h *timeline.Heard) iter.Seq[prompts.Spoken] {
	return func(yield func(prompts.Spoken) bool) {
		for _, sp := range s.spoken {
			if h.End > sp.At && h.Start < sp.Until+s.o.echoes() && !yield(sp) {
				return
			}
		}
	}
}

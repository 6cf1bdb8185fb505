package record

import (
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// Marks are the labels of the audio log, made from its journal.
func Marks(events []timeline.Event) []recorder.Mark {
	var out []recorder.Mark
	for _, e := range events {
		if m, ok := Mark(e); ok {
			out = append(out, m)
		}
	}
	return out
}

// Mark is the label of one event.
func Mark(e timeline.Event) (recorder.Mark, bool) {
	switch {
	case e.Kind.IsCallout(),
		e.Kind == timeline.Fault,
		e.Kind == timeline.Recovered,
		e.Kind == timeline.Retraction,
		e.Heard != nil:
		return recorder.Mark{At: int64(e.At), Label: e.Describe()}, true
	case e.Kind == timeline.CueSpoken:
		return recorder.Mark{At: int64(e.At), Label: "said: " + e.Sentence}, true
	}
	return recorder.Mark{}, false
}

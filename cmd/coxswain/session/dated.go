package session

import (
	"strings"

	"coxswain/intents"
	"coxswain/timeline"
)

// possible is the time that was told with a result; one that has not come yet, or of a case
// that has not begun, says nothing of when it happened. What has no time of its own is told
// now whatever is said with it.
func (s *oneCase) possible(r intents.Result) string {
	when, ok := intents.ReadWhen(r.When)
	switch at := s.machine.State().CodeAt(); {
	case !timeline.Kind(r.Callout).Datable():
		return ""
	case ok && !when.Ago && (at == timeline.Never || at+timeline.Seconds(when.Seconds) > s.heard(r).End):
		return "not yet"
	}
	return r.When
}

// minutesAgo is how long before it was heard a result happened, by the time told with it.
func (s *oneCase) minutesAgo(r intents.Result, heard timeline.Time) float64 {
	when, ok := intents.ReadWhen(r.When)
	switch {
	case !ok:
		return 0
	case when.Ago:
		return when.Seconds / 60
	}
	return (heard-s.machine.State().CodeAt()).Seconds()/60 - when.Seconds/60
}

// takeDated takes a callout and, if a time was told with it, moves it to when it happened: one
// answer tells both.
func (s *oneCase) takeDated(e timeline.Event, r intents.Result) {
	if _, told := e.Values["minutes"]; e.Kind == timeline.Backdate && !told {
		r.When = strings.TrimPrefix(r.Text, "that was ")
		e.Values = map[string]float64{"minutes": s.minutesAgo(r, e.At)}
	}
	ago := s.minutesAgo(r, e.At)
	if ago <= 0 || e.Kind == timeline.Backdate {
		s.take(e)
		return
	}
	for _, more := range s.machine.Add(s.append(e), s.now()) {
		s.take(more)
	}
	h := *e.Heard
	h.Text = r.When
	s.take(timeline.Event{At: e.At, Kind: timeline.Backdate, Values: map[string]float64{"minutes": ago}, Heard: &h})
}

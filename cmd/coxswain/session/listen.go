package session

import (
	"fmt"
	"log/slog"
	"slices"
	"strings"

	"coxswain/audio"
	"coxswain/intents"
	"coxswain/intents/decide"
	"coxswain/prompts"
	"coxswain/timeline"
)

// hearing is what a session remembers to decide about what it hears. Its clock is the
// recogniser's: samples at intents.Rate since the session began.
type hearing struct {
	rules  *decide.Rules
	memory decide.Memory
}

// How long a fact holds of which only the moment is known, in seconds: common practice, no source.
const (
	clearHolds    = 30
	chargingHolds = 60
	checkingHolds = 30
	questionHolds = 20
	answerHolds   = 30
)

// facts are what the rules may know of the case that runs.
func (s *oneCase) facts() decide.Facts {
	st := s.machine.State()
	f := FactsOf(st, s.now(), s.lastOf)
	f["running"] = f["running"] && s.kept()
	f["asked"] = st.Pending != "" || s.saidLately(questionHolds, func(p prompts.Spoken) bool {
		return strings.Contains(p.Text, "?")
	})
	for callout, by := range answered {
		f[callout] = s.saidLately(answerHolds, func(p prompts.Spoken) bool { return names(p.Cue, by...) })
	}
	return f
}

// answered are the callouts that answer a sentence of ours with a word, by the ids of these sentences.
var answered = map[string][]string{
	"undo":             {"next.same", "confirmed.undo"},
	"shock.given":      {"clear.ask", "shock.open", "silence.clear"},
	"shock.stacked":    {"question.shock.again"},
	"patient.stable":   {"next.stable"},
	"patient.unstable": {"next.stable"},
}

// FactsOf are what the rules may know of a state at a time; last is when a callout was last
// made, Never if it was not.
func FactsOf(st timeline.State, now timeline.Time, last func(timeline.Kind) timeline.Time) decide.Facts {
	within := func(at timeline.Time, seconds float64) bool {
		return at != timeline.Never && now-at <= timeline.Seconds(seconds)
	}
	return decide.Facts{
		"running":     st.Started != timeline.Never && st.Ended == timeline.Never,
		"arrest":      st.InArrest(),
		"pulse":       st.PulsePresent,
		"compressing": st.Compressing,
		"paused":      st.HandsOff(),
		"clear":       within(st.ClearAt, clearHolds),
		"charging":    within(last(timeline.ShockCharging), chargingHolds),
		"checking":    within(last(timeline.RhythmCheck), checkingHolds),
		"airway":      st.AirwayAt != timeline.Never,
	}
}

// lastOf is when a callout was last made, of the newest events; Never if it was not.
func (s *oneCase) lastOf(k timeline.Kind) timeline.Time {
	for i := len(s.events) - 1; i >= max(0, len(s.events)-30); i-- {
		if s.events[i].Kind == k {
			return s.events[i].At
		}
	}
	return timeline.Never
}

// names reports whether a cue, or a sentence that follows in it, has one of these ids.
func names(c timeline.Cue, ids ...string) bool {
	in := func(p timeline.Cue) bool { return names(p, ids...) }
	return slices.Contains(ids, c.ID) || slices.ContainsFunc(c.Parts, in)
}

// saidLately reports whether one of our sentences of the last seconds is such a one.
func (s *oneCase) saidLately(seconds int64, such func(prompts.Spoken) bool) bool {
	return slices.ContainsFunc(s.spoken, func(sp prompts.Spoken) bool {
		return such(sp) && int64(s.now()-sp.Until) <= seconds*audio.Rate
	})
}

// listen decides about a result: it is called, asked about, or ignored.
func (s *Session) listen(r intents.Result) {
	c := s.o.Vocabulary.Find(r.Callout)
	if h := s.now.heard(r); c == nil || s.now.ownVoice(h) || s.now.beginsUnder(timeline.Kind(r.Callout), h) {
		slog.Debug("own voice, or unknown", "callout", r.Callout)
		return
	}
	r.When = s.now.possible(r)
	d := s.hearing.memory.Hear(s.hearing.rules, s.holes.doubted(r), c.Need(), s.now.facts())
	switch d.Verdict {
	case decide.Accept:
		s.callout(d.Result)
	case decide.Ask:
		s.ask(d)
	default:
		slog.Debug("ignored", "callout", r.Callout, "confidence", r.Confidence)
	}
}

// ask asks about what may have been called: the question is an event, with what was heard.
func (s *Session) ask(d decide.Decision) {
	k := timeline.Kind(d.Result.Callout)
	cue := timeline.Cue{ID: "hear.again", Priority: timeline.ReadBack}
	switch name := k.Row().Spoken; {
	case d.Which == decide.Number:
		cue.ID, cue.Items = fmt.Sprintf("hear.which.%d", teen(d.Result.Values, d.Other.Values)-10), []string{name}
	case d.Which != "":
		cue.ID = "hear.which." + d.Which
	case d.When:
		cue.ID, cue.Items = "hear.when", []string{name}
	case d.Name && name != "" && !k.Row().Control:
		cue.ID, cue.Items = "hear.sure", []string{name}
	}
	if last, ok := s.now.machine.TakesBack(); k == timeline.Undo && ok {
		cue.ID, cue.Items = "hear.undo", []string{last.Row().Spoken}
	}
	s.now.question(cue, d.Result)
}

// teen is the one of two numbers, a teen and the ten that sounds like it, that is a teen; of
// larger numbers their last two digits.
func teen(a, b map[string]float64) int {
	for slot, x := range a {
		if y := b[slot]; x != y {
			return int(min(x, y)) % 100
		}
	}
	return 0
}

// question asks aloud about a result that is not called, and logs it.
func (s *oneCase) question(cue timeline.Cue, r intents.Result) {
	h := s.heard(r)
	e := s.append(timeline.Event{At: max(0, h.End), Kind: timeline.Question, Cue: cue.ID, Text: r.Callout, Heard: h})
	if s.o.Silent {
		return
	}
	cue.At, cue.Expires, cue.Seq = s.now(), s.now()+timeline.Seconds(4), e.Seq
	s.waiting = append(s.waiting, held{cue, s.pos})
}

package prompts

import (
	"strings"
	"testing"

	"coxswain/audio"
	"coxswain/timeline"
)

// stage is a scheduler over a player, and what it reported.
type stage struct {
	*Scheduler
	player *audio.Player
	talks  bool // somebody speaks in the room
	spoken []Spoken
	sound  []float32
}

func newStage(t *testing.T) *stage {
	t.Helper()
	v, err := NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	p := audio.NewPlayer(0)
	return &stage{Scheduler: NewScheduler(v, p, 1), player: p}
}

// run renders up to a moment in seconds.
func (s *stage) run(to float64) {
	block := make([]float32, audio.Block)
	for s.player.Pos() < int64(to*audio.Rate) {
		s.Speech(s.talks)
		s.spoken = append(s.spoken, s.Advance(audio.Block)...)
		s.player.Render(block)
		s.sound = append(s.sound, block...)
	}
}

// offer queues a cue for now that is worth saying for so many seconds.
func (s *stage) offer(id string, p timeline.Priority, keep float64, values map[string]float64) {
	now := timeline.Time(s.player.Pos())
	s.Offer(timeline.Cue{ID: id, At: now, Expires: now + timeline.Seconds(keep), Priority: p, Values: values})
}

// told is what was reported, one word a report.
func (s *stage) told() string {
	var out []string
	for _, sp := range s.spoken {
		switch {
		case sp.Dropped != "":
			out = append(out, "dropped:"+sp.Cue.ID)
		case sp.Cut:
			out = append(out, "cut:"+sp.Cue.ID)
		default:
			out = append(out, "said:"+sp.Cue.ID)
		}
	}
	return strings.Join(out, " ")
}

// A prompt that is cut off is reported from when to when it sounded, and said
// again, shorter, when there is room.
func TestCutPromptIsSaidAgain(t *testing.T) {
	s := newStage(t)
	s.offer("epinephrine.overdue", timeline.Due, 10, map[string]float64{"minutes": 4})
	s.run(0.7)
	s.offer("said.note", timeline.ReadBack, 4, nil)
	s.run(8)
	if got, want := s.told(), "said:epinephrine.overdue cut:epinephrine.overdue said:said.note said:epinephrine.overdue"; got != want {
		t.Fatalf("%s, want %s", got, want)
	}
	first, cut, note, second := s.spoken[0], s.spoken[1], s.spoken[2], s.spoken[3]
	if cut.At != first.At || cut.Text != first.Text || cut.Until >= first.Until || cut.Until != note.At+audio.Rate/100 {
		t.Errorf("cut %v to %v, begun %v to %v, the other at %v", cut.At, cut.Until, first.At, first.Until, note.At)
	}
	if second.At < note.Until || second.Text != "Epinephrine overdue." || second.Until-second.At >= first.Until-first.At {
		t.Errorf("said again at %v, after %v: %q", second.At, note.Until, second.Text)
	}
	// The sound agrees: nothing of the first is heard after it was cut off.
	alone := newStage(t)
	alone.run(0.7)
	alone.offer("said.note", timeline.ReadBack, 4, nil)
	alone.run(8)
	for i := cut.Until; i < second.At; i++ {
		if s.sound[i] != alone.sound[i] {
			t.Fatalf("the cut prompt still sounds at sample %d, it ended at %d", i, cut.Until)
		}
	}
}

// What no longer holds is not said again, and what is cut a second time neither.
func TestCutPromptThatIsOver(t *testing.T) {
	for _, c := range []struct {
		holds bool
		want  string
	}{
		{false, "said:epinephrine.overdue cut:epinephrine.overdue said:said.note dropped:epinephrine.overdue"},
		{true, "said:epinephrine.overdue cut:epinephrine.overdue said:said.note said:epinephrine.overdue cut:epinephrine.overdue said:said.note"},
	} {
		s := newStage(t)
		s.SetFresh(func(cue timeline.Cue) (timeline.Cue, bool) { return cue, c.holds || len(s.spoken) < 3 })
		s.offer("epinephrine.overdue", timeline.Due, 10, map[string]float64{"minutes": 4})
		s.run(0.7)
		s.offer("said.note", timeline.ReadBack, 4, nil)
		s.run(1.4)
		if c.holds {
			for len(s.spoken) < 4 {
				s.run(float64(s.player.Pos())/audio.Rate + 0.1)
			}
			s.offer("said.note", timeline.ReadBack, 4, nil)
		}
		s.run(12)
		if got := s.told(); got != c.want {
			t.Errorf("holds %v: %s, want %s", c.holds, got, c.want)
		}
	}
}

// What is said again after it was cut, or after it waited, is made anew: the energy of
// the adult becomes the child's.
func TestCutPromptIsMadeAnew(t *testing.T) {
	s := newStage(t)
	joules := 200.0
	s.SetFresh(func(c timeline.Cue) (timeline.Cue, bool) {
		if c.ID == "next.defibrillation" {
			c.Values = map[string]float64{"energy_j": joules}
		}
		return c, true
	})
	s.offer("next.defibrillation", timeline.Answer, 10, map[string]float64{"energy_j": 200})
	s.run(0.5)
	joules = 20
	s.offer("said.patient.child", timeline.ReadBack, 4, nil)
	s.run(8)
	last := s.spoken[len(s.spoken)-1]
	if want := "Next, shock twenty joules"; last.Text != want || last.Dropped != "" {
		t.Errorf("%s; at last %q, want %q", s.told(), last.Text, want)
	}
}

// Nothing begins while somebody speaks: a due drug waits 4 s at most, hands-off time
// and alarms not at all, advice for as long as it is worth saying. When the speaker
// stops, a read-back comes at once and the rest after it.
func TestNobodyIsTalkedOver(t *testing.T) {
	for _, c := range []struct {
		p      timeline.Priority
		keep   float64 // seconds
		stops  float64 // the speaker, after so many seconds
		at     float64 // when it is said; negative: it is not
		reason string
	}{
		{timeline.HandsOff, 10, 20, 0, ""},
		{timeline.Alarm, 10, 20, 0, ""},
		{timeline.Due, 10, 20, 4, ""},
		{timeline.Due, 10, 1.5, 1.8, ""}, // what was called is answered first
		{timeline.ReadBack, 4, 0.5, 0.5, ""},
		{timeline.Due, 2, 20, 2, ""}, // never lost by waiting
		{timeline.Answer, 4, 0.5, 0.5, ""},
		{timeline.ReadBack, 4, 20, 2, ""},
		{timeline.Answer, 4, 20, 2, ""},
		{timeline.Cycle, 10, 20, 2, ""},
		{timeline.Advice, 6, 20, -1, "too late"},
		{timeline.Advice, 30, 12, 12.3, ""},
	} {
		s := newStage(t)
		s.talks = true
		s.run(1)
		s.offer("said.note", c.p, c.keep, nil)
		s.run(1 + c.stops)
		s.talks = false
		s.run(40)
		if len(s.spoken) != 1 || s.spoken[0].Dropped != c.reason {
			t.Errorf("%+v: %s", c, s.told())
			continue
		}
		if got := timeline.Time(s.spoken[0].At - timeline.Seconds(1)).Seconds(); c.at >= 0 && (got < c.at-0.011 || got > c.at+0.011) {
			t.Errorf("%+v: said after %.2f s", c, got)
		}
	}
}

// What a callout has made untrue while it waited is not said.
func TestWaitingPromptThatIsOver(t *testing.T) {
	s := newStage(t)
	s.talks = true
	s.offer("cycle.end", timeline.Cycle, 3, nil)
	s.run(1)
	s.talks = false
	s.SetFresh(func(cue timeline.Cue) (timeline.Cue, bool) { return cue, cue.ID != "cycle.end" })
	s.offer("said.rhythm.check", timeline.ReadBack, 4, nil)
	s.run(3)
	if got, want := s.told(), "said:said.rhythm.check dropped:cycle.end"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// What had to wait says no number that has passed.
func TestLatePromptIsShort(t *testing.T) {
	for seconds, want := range map[float64]string{0.5: "ten seconds Charge", 1.5: "Charge, change over"} {
		s := newStage(t)
		s.talks = true
		s.offer("cycle.soon", timeline.Cycle, 5, map[string]float64{"seconds": 10})
		s.run(seconds)
		s.talks = false
		s.run(5)
		if len(s.spoken) != 1 || !strings.HasPrefix(s.spoken[0].Text, want) {
			t.Errorf("after %v s: %+v, want %q", seconds, s.spoken, want)
		}
	}
}

// At the end of a session what sounds is cut off and reported; silence is not.
func TestSilence(t *testing.T) {
	s := newStage(t)
	s.offer("opening", timeline.Advice, 5, nil)
	s.run(1)
	if cut := s.Silence(); len(cut) != 1 || !cut[0].Cut || cut[0].Until != timeline.Time(s.player.Pos()+audio.Rate/100) {
		t.Errorf("%+v", cut)
	}
	s.run(2)
	if cut := s.Silence(); cut != nil {
		t.Errorf("silence cut off: %+v", cut)
	}
}

// A shortened sentence is shorter than the whole, and not nothing.
func TestShortIsShorter(t *testing.T) {
	v, _ := voiceAndProtocol(t)
	n := 0
	for id := range v.cues {
		whole, isShort := strings.CutSuffix(id, ".short")
		if !isShort {
			continue
		}
		n++
		c := timeline.Cue{ID: whole, Values: map[string]float64{}, Items: []string{"hypoxia", "toxins"}}
		for _, m := range slot.FindAllStringSubmatch(v.cues[whole], -1) {
			c.Values[m[1]] = 20
		}
		if v.cues[whole] == "" {
			t.Errorf("%s shortens nothing", id)
		}
		if short, long := v.Speak(v.Short(c)).Len(), v.Speak(c).Len(); short < audio.Rate/4 || short >= long {
			t.Errorf("%s takes %d samples, the whole %d", id, short, long)
		}
	}
	if n == 0 {
		t.Error("nothing is ever shortened")
	}
}

// "Pulseless. Compress." goes before the read-backs and questions that wait, and cuts the
// one that sounds, which is said again.
func TestCompressGoesFirst(t *testing.T) {
	s := newStage(t)
	s.offer("said.drug.epinephrine", timeline.ReadBack, 12, nil)
	s.offer("said.drug.amiodarone", timeline.ReadBack, 12, nil)
	s.run(0.2)
	s.offer("said.pulse.absent", timeline.Urgent, 12, nil)
	s.run(8)
	want := "said:said.drug.epinephrine cut:said.drug.epinephrine said:said.pulse.absent said:said.drug.epinephrine said:said.drug.amiodarone"
	if got := s.told(); got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// The newest question is answered before an older answer that was cut off is said again, and cuts
// that off if it sounds again already.
func TestNewestQuestionFirst(t *testing.T) {
	ask := func(s *stage, id string, about uint64) {
		now := timeline.Time(s.player.Pos())
		values := map[string]float64{"minutes": 2, "seconds": 30, "shocks": 1}
		s.Offer(timeline.Cue{ID: id, At: now, Expires: now + timeline.Seconds(8), Priority: timeline.Answer, Values: values, About: about})
	}
	s := newStage(t)
	ask(s, "next.epinephrine.in", 1)
	s.run(0.7)
	s.offer("said.note", timeline.ReadBack, 4, nil)
	s.run(0.9)
	ask(s, "answer.shocks", 2)
	s.run(2.2)
	ask(s, "answer.time", 3)
	s.run(12)
	want := "said:next.epinephrine.in cut:next.epinephrine.in said:said.note said:answer.shocks said:next.epinephrine.in " +
		"cut:next.epinephrine.in said:answer.time"
	if got := s.told(); !strings.HasPrefix(got, want) {
		t.Errorf("%s, want %s", got, want)
	}
}

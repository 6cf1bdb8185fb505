package timeline_test

import (
	"fmt"

	"coxswain/timeline"
)

// A session tells the machine what was called and what time it is; the machine
// says what is to be said. It holds no clock: the same calls give the same cues.
func ExampleMachine() {
	p, err := timeline.LoadProtocol("aha-2020")
	if err != nil {
		fmt.Println(err)
		return
	}
	m := timeline.NewMachine(p)
	called := map[timeline.Time]timeline.Event{}
	for at, kind := range map[float64]timeline.Kind{2: timeline.CodeStart, 5: timeline.CompressionsStart, 31: timeline.RhythmCheck,
		34: timeline.RhythmVF, 40: timeline.ShockGiven} {
		called[timeline.Seconds(at)] = timeline.Event{At: timeline.Seconds(at), Kind: kind}
	}
	for now := timeline.Time(0); now < timeline.Seconds(50); now += timeline.Seconds(0.01) {
		if e, ok := called[now]; ok {
			for _, c := range m.Step(e, now).Cues {
				fmt.Println(c.Describe())
			}
		}
		for _, c := range m.Tick(now) {
			fmt.Println(c.Describe())
		}
	}
	s := m.State()
	fmt.Println(s.Rhythm, len(s.Shocks), "shock, hands off since", s.PausedFrom)
	// Output:
	// 0:02.0 said.code.start
	// 0:05.0 said.compressions.start
	// 0:31.0 said.rhythm.check
	// 0:34.0 said.rhythm.vf
	// 0:36.0 pause.warning seconds=5
	// 0:40.0 said.shock.given
	// 0:41.0 pause.limit seconds=10
	// VF 1 shock, hands off since 0:31.0
}

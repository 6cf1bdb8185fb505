package session

import (
	"time"

	"coxswain/audio"
	"coxswain/timeline"
)

const (
	// stillFrom is how many samples of a microphone are the same before it counts as muted, or its plug as out:
	// noise of its own has every other one. Set by hand, not measured.
	stillFrom = 15 * audio.Rate
	// stillAgain is how long it is not said again.
	stillAgain = 10 * time.Minute
	muted      = "microphone silent" // how the sound is then
)

// stillness is how long a microphone has given one value and nothing else.
type stillness struct {
	value   float32
	samples int
	told    bool
	quietTo time.Duration // it is not said before
}

func (m *stillness) hears(room []float32) {
	for _, x := range room {
		if m.samples++; x != m.value {
			m.value, m.samples = x, 1
		}
	}
}

// followMicrophone tells of a microphone that is there and gives nothing: nobody is heard.
func (l *Live) followMicrophone(now time.Duration) {
	m := &l.mic
	switch still := m.samples >= stillFrom; {
	case still && !m.told && l.s.sound == "whole":
		m.told, l.s.sound = true, muted
		const text = "the microphone gives nothing but silence: is it muted, or its plug out? No callout can be heard"
		if now < m.quietTo {
			l.s.note(timeline.Fault, text)
			return
		}
		m.quietTo = now + stillAgain
		l.s.fault(timeline.Fault, "fault.microphone", text)
	case !still && m.told:
		m.told = false
		if l.s.sound == muted {
			l.s.sound = "whole"
		}
		l.s.fault(timeline.Recovered, "fault.device.back", "the microphone gives sound again")
	}
}

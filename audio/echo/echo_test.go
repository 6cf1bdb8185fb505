package echo

import (
	"testing"

	"coxswain/audio"
)

// BenchmarkCancel is 10 ms of microphone and loudspeaker.
func BenchmarkCancel(b *testing.B) {
	e, err := New(1)
	if err != nil {
		b.Fatal(err)
	}
	room, speaker := make([]int16, audio.Block/3), make([]int16, audio.Block/3)
	for i := range room {
		room[i], speaker[i] = int16(i*91%3000), int16(i*53%4000)
	}
	b.ReportAllocs()
	for b.Loop() {
		e.Cancel(room, speaker)
	}
}

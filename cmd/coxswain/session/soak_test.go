package session

import (
	"math"
	"os"
	"runtime"
	"testing"
	"time"

	"coxswain/audio"
	"coxswain/intents"
)

// toNowhere is a disk that takes everything and keeps nothing.
func toNowhere(Beginning) (Kept, error) {
	return Kept{Name: "nowhere", Journal: nowhere{}, Sound: nowhere{}}, nil
}

// A long session, in accelerated time, with a callout every 40 s and the echo
// canceller on: the beat is still on its sample at the end, memory stays flat
// but for the events. 8 h in `make soak`, 20 min here,
// 3 when it is short.
func TestLongSession(t *testing.T) {
	length := int64(20*60) * audio.Rate
	switch {
	case os.Getenv("SOAK") != "":
		length = 8 * 3600 * audio.Rate
	case testing.Short():
		t.Skip("minutes of sound, and the goroutines of a bad day")
	}
	ear := &intents.Scripted{}
	kinds := []string{"compressor.change", "drug.epinephrine", "causes.review", "access.iv"}
	ear.Results = append(
		ear.Results,
		heardAt("code.start", 2),
		heardAt("compressions.start", 4),
		heardAt("airway.secured", 8),
	)
	for s := 40; int64(s)*audio.Rate < length-60*audio.Rate; s += 40 {
		ear.Results = append(ear.Results, heardAt(kinds[s/40%len(kinds)], s))
	}
	o := testOptions(t, t.TempDir()+"/r", ear.Results...)
	o.Begin = toNowhere
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	var room, speaker [audio.Block]float32
	var early uint64
	begun, last := time.Now(), []float32{}
	for s.pos < length {
		for i := range room {
			room[i] = float32(math.Sin(float64(i)*0.3)) * 0.001
		}
		copy(speaker[:], s.Step(room[:], speaker[:]))
		if s.pos == length/2 {
			early = heap()
		}
		if s.pos > length-10*audio.Rate {
			last = append(last, speaker[:]...)
		}
	}
	took := time.Since(begun)
	late, grown := heap(), 0.0
	grown = float64(late) - float64(early)
	perEvent := grown / float64(len(s.now.events)/2)
	t.Logf(
		"%v in %v (%.0f times real time); heap %.1f MB half way, %.1f MB at the end; %d events, %.0f bytes each",
		audio.Duration(length),
		took.Round(time.Second),
		audio.Duration(length).Seconds()/took.Seconds(),
		float64(early)/1e6,
		float64(late)/1e6,
		len(s.now.events),
		perEvent,
	)
	if grown > 2e6 && perEvent > 5000 {
		t.Errorf("the heap grew by %.1f MB, %.0f bytes an event", grown/1e6, perEvent)
	}
	beatOnItsSample(t, last, s.player.Pos()-int64(len(last)))
}

// A day without a case, in accelerated time, and one without a word in a record that
// always runs: nothing is kept, memory stays flat. 24 h in `make soak`, 4 min here.
func TestSilentDay(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of silence, and no goroutine that a long session lacks")
	}
	length := int64(4*60) * audio.Rate
	if os.Getenv("SOAK") != "" {
		length = 24 * 3600 * audio.Rate
	}
	for _, always := range []bool{false, true} {
		o := testOptions(t, t.TempDir()+"/r")
		o.Begin, o.Always, o.Echo, o.Before, o.Silence = toNowhere, always, false, time.Minute, 20*time.Minute
		s, err := New(o)
		if err != nil {
			t.Fatal(err)
		}
		var room, speaker [audio.Block]float32
		var early uint64
		begun := time.Now()
		for s.pos < length {
			copy(speaker[:], s.Step(room[:], speaker[:]))
			if s.pos == length/4 {
				early = heap()
			}
		}
		late := heap()
		t.Logf("always: %v, %v in %v; heap %.2f MB after a quarter, %.2f MB at the end; %d events", always, audio.Duration(length),
			time.Since(begun).Round(time.Second), float64(early)/1e6, float64(late)/1e6, len(s.now.events))
		if late > early+1e6 || len(s.now.events) > 10 {
			t.Errorf("always: %v: the heap grew from %.2f to %.2f MB, %d events", always, float64(early)/1e6, float64(late)/1e6, len(s.now.events))
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

func heardAt(id string, second int) intents.Result {
	end := int64(second) * intents.Rate
	return intents.Result{
		Callout:    id,
		Text:       "words " + id,
		Confidence: 1,
		Start:      end - 8000,
		End:        end,
		Decided:    end + 3200,
	}
}

func heap() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// beatOnItsSample finds the beats in x, which begins at clock sample from, and
// holds them to one grid of 60/110 s.
func beatOnItsSample(t *testing.T, x []float32, from int64) {
	t.Helper()
	var onsets []int64
	quiet := 0
	for i, v := range x {
		if math.Abs(float64(v)) > 0.02 {
			if quiet > audio.Rate/10 {
				onsets = append(onsets, from+int64(i))
			}
			quiet = 0
		} else {
			quiet++
		}
	}
	period := 60.0 / 110 * audio.Rate
	on := 0
	for _, o := range onsets {
		k := math.Round(float64(o-onsets[0]) / period)
		if math.Abs(float64(o-onsets[0])-k*period) <= 1 {
			on++
		}
	}
	if len(onsets) < 10 || on < len(onsets)-2 { // speech may hide one
		t.Errorf("%d of %d beats at the end lie on the grid", on, len(onsets))
	}
}

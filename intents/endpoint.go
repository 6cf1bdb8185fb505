package intents

import "math"

// EndpointHop is the step of an Endpointer in samples: 10 ms.
const EndpointHop = Rate / 100

// Utterance is speech between two silences.
type Utterance struct {
	PCM        []int16
	Start, End int64 // of the speech itself; PCM has some silence around it
}

// Endpointer cuts a stream into utterances by its energy between 300 Hz and
// 4 kHz, against a noise floor that it follows: it closes after closeHops of
// silence, and after maxHops at the latest, so that steady noise cannot hold
// it open. The zero value is ready.
type Endpointer struct {
	floor   float64 // dB
	recent  []float64
	hist    []int16 // what was heard of late
	histAt  int64   // sample of hist[0]
	heard   int64
	open    bool
	start   int64
	quiet   int
	loud    int
	lastOn  int64
	partial []int16
	low, hi float64 // states of the band filter
}

const (
	openHops  = 4   // 40 ms of speech open an utterance
	closeHops = 25  // 250 ms of silence close it
	maxHops   = 600 // 6 s
	overFloor = 9.0 // dB above the noise floor is speech
	leadIn    = Rate / 4
)

// Push takes samples (any number up to a hop's end) and returns an utterance
// that ended with them.
func (e *Endpointer) Push(pcm []int16) (Utterance, bool) {
	e.hist = append(e.hist, pcm...)
	e.partial = append(e.partial, pcm...)
	e.heard += int64(len(pcm))
	if len(e.partial) < EndpointHop {
		return Utterance{}, false
	}
	on := e.speech(e.partial)
	e.partial = e.partial[:0]
	if !e.open {
		return Utterance{}, e.opening(on)
	}
	if on {
		e.quiet, e.lastOn = 0, e.heard
	} else {
		e.quiet++
	}
	if e.quiet >= closeHops || e.heard-e.start > maxHops*EndpointHop {
		return e.cut(), true
	}
	return Utterance{}, false
}

func (e *Endpointer) opening(on bool) bool {
	if on {
		e.loud++
	} else {
		e.loud = 0
	}
	if e.loud >= openHops {
		e.open, e.start, e.lastOn, e.quiet = true, e.heard-openHops*EndpointHop, e.heard, 0
	} else if over := len(e.hist) - 2*leadIn; over > 0 {
		e.hist = e.hist[:copy(e.hist, e.hist[over:])]
		e.histAt += int64(over)
	}
	return false
}

func (e *Endpointer) cut() Utterance {
	from := max(0, e.start-leadIn-e.histAt)
	to := min(int64(len(e.hist)), e.lastOn+leadIn-e.histAt)
	u := Utterance{PCM: append([]int16(nil), e.hist[from:to]...), Start: e.start, End: e.lastOn}
	e.open, e.loud = false, 0
	return u
}

// Flush returns the utterance that is still open at the end of the stream.
func (e *Endpointer) Flush() (Utterance, bool) {
	if !e.open {
		return Utterance{}, false
	}
	return e.cut(), true
}

// Speaking reports whether an utterance is open: somebody speaks, or did within the
// last quarter of a second.
func (e *Endpointer) Speaking() bool { return e.open }

// speech judges one hop: band energy against the floor, which is the 15th
// percentile of the last three seconds.
func (e *Endpointer) speech(hop []int16) bool {
	sum := 0.0
	for _, s := range hop {
		x := float64(s) / 32768
		e.low += 0.11 * (x - e.low)       // 300 Hz
		e.hi += 0.79 * (x - e.low - e.hi) // 4 kHz
		sum += e.hi * e.hi
	}
	db := 10 * math.Log10(sum/float64(len(hop))+1e-9)
	e.recent = append(e.recent, db)
	if len(e.recent) > 300 {
		e.recent = e.recent[1:]
	}
	if len(e.recent)%10 == 0 || len(e.recent) < 20 || e.heard%(10*EndpointHop) == 0 {
		e.floor = percentile(e.recent, 0.15)
	}
	return db > e.floor+overFloor && db > -65
}

func percentile(x []float64, p float64) float64 {
	var bins [100]int
	for _, v := range x {
		bins[int(min(99, max(0, v+95)))]++
	}
	need := int(p*float64(len(x))) + 1
	for i, n := range bins {
		if need -= n; need <= 0 {
			return float64(i) - 95
		}
	}
	return 0
}

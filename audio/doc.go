// Package audio carries sound in and out and keeps the session's one clock.
//
// A session works in blocks of Block samples at Rate, mono. Block k of the
// room and block k of the loudspeaker belong to the same samples of the clock:
//
//	device or file --room block--> session --speaker block--> device or file
//	                                   \--> recorder (channel 1 room, channel 2 speaker)
//	                                   \--> Decimator --> 16 kHz for recognisers
//
// Duties of whoever uses it:
//
//  1. Never call anything that waits from the device callback; this package's
//     own callback copies samples between rings and does nothing else.
//  2. Render the speaker Lead blocks ahead of the clock, so that a pause of
//     the Go runtime is not heard.
//  3. Treat a gap (Frame.Gap) as lost room audio: the clock goes on.
//
// The package imports nothing of this module, and no C: the devices are in
// audio/device, the echo canceller in audio/echo, files in audio/recorder, devices
// for tests in audio/audiotest.
package audio

import (
	"math"
	"time"
)

// Rate is the device's sample rate in Hz, and the unit of the session clock.
const Rate = 48000

// Block is the number of samples in a block: 10 ms.
const Block = Rate / 100

// Lead is how many blocks the speaker is rendered ahead of the room.
const Lead = 3

// ListenRate is the sample rate that recognisers hear.
const ListenRate = 16000

// Duration converts samples at Rate to a time span.
func Duration(samples int64) time.Duration {
	return time.Duration(samples/Rate)*time.Second + time.Duration(samples%Rate)*time.Second/Rate
}

// PCM16 converts a sample in -1..1 to 16 bits.
func PCM16(x float32) int16 {
	return int16(math.Round(float64(max(-1, min(1, x))) * 32767))
}

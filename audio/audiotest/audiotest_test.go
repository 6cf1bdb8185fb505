package audiotest

import (
	"bytes"
	"crypto/rand"
	"encoding/binary"
	"io"
	"math"
	"os/exec"
	"testing"

	"coxswain/audio"
)

// The direct sound comes back after the loop delay with its gain, the reflections
// decay by 60 dB in the reverberation time, and a room is the same each time.
func TestRoom(t *testing.T) {
	const delay, t60, gain = 0.010, 0.2, 0.5
	answer := func() []float32 {
		room, out := NewRoom(delay, t60, gain), []float32(nil)
		for n := range 30 {
			in, played := make([]float32, audio.Block), make([]float32, audio.Block)
			if n == 0 {
				played[0] = 1
			}
			room.Hear(in, played)
			out = append(out, in...)
		}
		return out
	}
	x := answer()
	first := int(delay * audio.Rate)
	for i, v := range x[:first] {
		if v != 0 {
			t.Fatalf("sound at sample %d, before the loop delay", i)
		}
	}
	if x[first] != gain {
		t.Errorf("direct sound %v, want %v", x[first], gain)
	}
	power := func(from, to float64) (sum float64) {
		for _, v := range x[first+int(from*audio.Rate) : first+int(to*audio.Rate)] {
			sum += float64(v) * float64(v)
		}
		return sum
	}
	// From 2-22 ms to 102-122 ms it falls by 100 ms / t60 * 60 dB = 30 dB.
	if db := 10 * math.Log10(power(0.002, 0.022)/power(0.102, 0.122)); db < 27 || db > 33 {
		t.Errorf("falls by %.1f dB in 100 ms, want 30", db)
	}
	for i, v := range answer() {
		if v != x[i] {
			t.Fatal("not the same room a second time")
		}
	}
}

// Blocks go through the room as they come, until either end is closed.
func TestCarry(t *testing.T) {
	in := make([]byte, 3*2*audio.Block+100) // a piece of a block is left over
	binary.LittleEndian.PutUint16(in, 16384)
	var out bytes.Buffer
	carry(bytes.NewReader(in), &out, NewRoom(0, 0, 0.5))
	if out.Len() != 3*2*audio.Block {
		t.Errorf("%d bytes carried", out.Len())
	}
	if got := int16(binary.LittleEndian.Uint16(out.Bytes())); got < 8180 || got > 8200 {
		t.Errorf("half of half of full scale is %d", got)
	}
	r, w := io.Pipe()
	r.Close()
	carry(bytes.NewReader(in), w, NewRoom(0, 0, 0.5)) // returns
}

// A card carries sound between programs: what is played into the room comes back
// out of its microphone.
func TestCard(t *testing.T) {
	env, stop := SoundServer(t, false)
	defer stop()
	defer Echo(t, env, NewRoom(0.001, 0.1, 0.5))()
	play := exec.Command("paplay", "--device=room", "--rate=48000", "--channels=1", "--format=s16le", "--raw", "/dev/stdin")
	hear := exec.Command("parec", "--device=mic", "--rate=48000", "--channels=1", "--format=s16le", "--raw", "--latency-msec=20")
	play.Env, hear.Env, play.Stdin = env, env, rand.Reader // noise without end
	from, err := hear.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := play.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { play.Process.Kill(); play.Wait() }()
	if err := hear.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { hear.Process.Kill(); hear.Wait() }()
	var b [2]byte
	for n := 0; ; n++ { // however long it takes
		if _, err := io.ReadFull(from, b[:]); err != nil {
			t.Fatal(err)
		}
		if x := int16(binary.LittleEndian.Uint16(b[:])); x > 3000 || x < -3000 {
			return
		}
		if n > 60*audio.Rate {
			t.Fatal("a minute of silence")
		}
	}
}

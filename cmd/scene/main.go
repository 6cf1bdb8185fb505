// Command scene speaks a scene file into a WAV file: the recording of a team
// in a room, for the demo and the tests. Speech is synthesised by flite
// (Debian package flite; voices cmu_us_slt, cmu_us_awb and cmu_us_kal16 under
// free licences), the room noise is made here. The same scene gives the same
// file.
//
//	go run ./cmd/scene testdata/demo.scene OUT.wav
package main

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"coxswain/audio"
)

func main() {
	if len(os.Args) != 3 {
		fmt.Fprintln(os.Stderr, "usage: scene FILE.scene OUT.wav")
		os.Exit(2)
	}
	if err := render(os.Args[1], os.Args[2]); err != nil {
		fmt.Fprintln(os.Stderr, "scene:", err)
		os.Exit(1)
	}
}

type line struct {
	at          float64
	voice, text string
}

type scene struct {
	noiseDB, length float64
	lines           []line
}

func parse(path string) (scene, error) {
	s := scene{noiseDB: -50, length: 60}
	f, err := os.Open(path)
	if err != nil {
		return s, err
	}
	defer f.Close()
	sc := bufio.NewScanner(f)
	for n := 1; sc.Scan(); n++ {
		w := strings.Fields(sc.Text())
		if len(w) == 0 || strings.HasPrefix(w[0], "#") {
			continue
		}
		x, err := strconv.ParseFloat(w[min(1, len(w)-1)], 64)
		switch {
		case w[0] == "noise" && err == nil:
			s.noiseDB = x
		case w[0] == "length" && err == nil:
			s.length = x
		default:
			at, err := strconv.ParseFloat(w[0], 64)
			if err != nil || len(w) < 3 || w[1] != "lead" && w[1] != "talk" {
				return s, fmt.Errorf("%s:%d: want: seconds, lead or talk, words", path, n)
			}
			s.lines = append(s.lines, line{at, w[1], strings.Join(w[2:], " ")})
		}
	}
	return s, sc.Err()
}

func render(in, out string) error {
	s, err := parse(in)
	if err != nil {
		return err
	}
	mix := make([]float32, int(s.length*audio.Rate))
	room(mix, s.noiseDB)
	dir, err := os.MkdirTemp("", "scene")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	for i, l := range s.lines {
		clip, err := speak(filepath.Join(dir, "x.wav"), l, i)
		if err != nil {
			return err
		}
		at := int(l.at * audio.Rate)
		for k, x := range clip {
			if at+k < len(mix) {
				mix[at+k] += x
			}
		}
	}
	return write(out, mix)
}

// speak renders one line; other people in the room stand further away.
func speak(tmp string, l line, n int) (audio.Clip, error) {
	voice, gain := "slt", float32(0.5)
	if l.voice == "talk" {
		voice, gain = []string{"awb", "kal16"}[n%2], 0.12
	}
	cmd := exec.Command("flite", "-voice", voice, "-t", l.text, "-o", tmp)
	if b, err := cmd.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("flite: %w: %s (apt-get install flite)", err, b)
	}
	b, err := os.ReadFile(tmp)
	if err != nil {
		return nil, err
	}
	clip, err := audio.LoadClip(l.text, b)
	for i := range clip {
		clip[i] *= gain
	}
	return clip, err
}

// room fills the recording with the hum of a ward: low-passed noise whose
// level drifts, and a ventilator's breath every 5 s.
func room(mix []float32, db float64) {
	r := rand.New(rand.NewPCG(7, 11))
	gain := math.Pow(10, db/20) * 3
	var a, b float64
	for i := range mix {
		t := float64(i) / audio.Rate
		x := r.NormFloat64()
		a += 0.06 * (x - a)
		b += 0.3 * (x - b)
		breath := math.Max(0, math.Sin(2*math.Pi*t/5)) * 0.35
		mix[i] = float32(gain * (a*(1+0.3*math.Sin(t/9)) + 0.25*breath*b))
	}
}

func write(path string, x []float32) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(f)
	h := make([]byte, 44)
	copy(h, "RIFF")
	binary.LittleEndian.PutUint32(h[4:], uint32(36+2*len(x)))
	copy(h[8:], "WAVEfmt ")
	for i, v := range []uint32{16, 1 | 1<<16, audio.Rate, audio.Rate * 2, 2 | 16<<16} {
		binary.LittleEndian.PutUint32(h[16+4*i:], v)
	}
	copy(h[36:], "data")
	binary.LittleEndian.PutUint32(h[40:], uint32(2*len(x)))
	w.Write(h)
	for _, v := range x {
		binary.Write(w, binary.LittleEndian, audio.PCM16(v))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	return f.Close()
}

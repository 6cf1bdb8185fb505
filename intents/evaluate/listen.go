package evaluate

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"sync"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/intents"
	"coxswain/intents/acoustic"
)

// Heard is one result in a recording, as `coxswain listen --json` prints it.
type Heard struct {
	File       string             `json:"file"`
	StartS     float64            `json:"start_s"`
	EndS       float64            `json:"end_s"`
	DecidedS   float64            `json:"decided_s"` // seconds that had been heard when it was decided
	Callout    string             `json:"callout"`
	Text       string             `json:"text"`
	Values     map[string]float64 `json:"values"`
	Confidence float64            `json:"confidence"`
	Asked      bool               `json:"asked,omitempty"` // asked about, not called: see Decided
}

// Opener gives a fresh ear for each recording.
type Opener func() (intents.Ear, error)

// Builtin opens the built-in recogniser in this process; open: its results are left open.
// voice is the profile of the voice that it hears with; nil: none.
func Builtin(v *intents.Vocabulary, open bool, voice []byte) (Opener, error) {
	fresh := func() (intents.Ear, error) {
		r, err := acoustic.New(v)
		if err != nil {
			return nil, err
		}
		if c, ok := r.(intents.Candid); ok && open {
			c.LeaveOpen()
		}
		if c, ok := r.(intents.Voiced); ok && voice != nil {
			err = c.UseVoice(voice)
		}
		return intents.Inline{Recogniser: r}, err
	}
	first, err := fresh()
	if err != nil {
		return nil, err
	}
	made := make(chan intents.Ear, 1)
	made <- first
	return func() (intents.Ear, error) {
		select {
		case e := <-made:
			return e, nil
		default:
			return fresh()
		}
	}, nil
}

// Files lists the WAV files that the arguments name: files as they are, folders
// by the names in them.
func Files(args []string) ([]string, error) {
	var out []string
	for _, a := range args {
		st, err := os.Stat(a)
		if err != nil {
			return nil, err
		}
		if !st.IsDir() {
			out = append(out, a)
			continue
		}
		m, err := filepath.Glob(filepath.Join(a, "*.wav"))
		if err != nil {
			return nil, err
		}
		if len(m) == 0 {
			return nil, fmt.Errorf("%s: no WAV files in this folder", a)
		}
		sort.Strings(m)
		out = append(out, m...)
	}
	return out, nil
}

// Listen hears the files, as many at a time as given, and emits results in the
// files' order. What was heard of a file before an error is emitted too.
func Listen(files []string, atATime int, open Opener, emit func(Heard)) error {
	type answer struct {
		list []Heard
		err  error
	}
	answers := make([]chan answer, len(files))
	slots := make(chan struct{}, atATime)
	var wg sync.WaitGroup
	for i := range files {
		answers[i] = make(chan answer, 1)
		wg.Go(func() {
			slots <- struct{}{}
			list, err := listenFile(files[i], open)
			answers[i] <- answer{list, err}
			<-slots
		})
	}
	var errs []error
	for i := range files {
		a := <-answers[i]
		for _, h := range a.list {
			emit(h)
		}
		if a.err != nil {
			errs = append(errs, a.err)
		}
	}
	wg.Wait()
	return errors.Join(errs...)
}

// listenFile hears one recording; what was heard before an error is returned too.
func listenFile(path string, open Opener) ([]Heard, error) {
	ear, err := open()
	if err != nil {
		return nil, err
	}
	var out []Heard
	take := func(results []intents.Result, faults []string) error {
		for _, x := range results {
			s := func(n int64) float64 { return float64(n*1000/intents.Rate) / 1000 }
			out = append(out, Heard{path, s(x.Start), s(x.End), s(x.Decided), x.Callout, x.Text, x.Values, x.Confidence, x.Open})
		}
		if len(faults) > 0 {
			return fmt.Errorf("%s: %s", path, strings.Join(faults, "; "))
		}
		return nil
	}
	err = Samples(path, func(pcm []int16) error { return take(ear.Hear(pcm)) })
	take(ear.Close(), nil)
	return out, err
}

// Samples passes a recording on as a recogniser hears it, 10 ms at a time.
func Samples(path string, hear func(pcm []int16) error) error {
	r, err := recorder.OpenMono(path, audio.ListenRate, audio.Rate)
	if err != nil {
		return err
	}
	defer r.Close()
	for _, note := range r.Notes {
		slog.Info(note, "file", path)
	}
	buf := make([]float32, r.SampleHz/100)
	dec := audio.NewDecimator(audio.Block)
	pcm := make([]int16, audio.ListenRate/100)
	for {
		n, rerr := r.Read(buf)
		x := buf[:n]
		if r.SampleHz == audio.Rate {
			x = dec.Process(x[:n/3*3])
		}
		for i, s := range x {
			pcm[i] = audio.PCM16(s)
		}
		if err := hear(pcm[:len(x)]); err != nil {
			return err
		}
		if rerr == io.EOF {
			if note := r.Afterwards(); note != "" {
				slog.Info(note, "file", path)
			}
			return nil
		}
		if rerr != nil {
			return rerr
		}
	}
}

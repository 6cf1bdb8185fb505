package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"sort"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/intents"
	"coxswain/intents/acoustic"
)

// heard is one line of `coxswain listen --json`.
type heard struct {
	File       string             `json:"file"`
	StartS     float64            `json:"start_s"`
	EndS       float64            `json:"end_s"`
	DecidedS   float64            `json:"decided_s"`
	Callout    string             `json:"callout"`
	Text       string             `json:"text"`
	Values     map[string]float64 `json:"values"`
	Confidence float64            `json:"confidence"`
}

func newEar() *cobra.Command {
	return &cobra.Command{
		Use: "ear", Hidden: true, Args: cobra.NoArgs,
		Short: "The built-in recogniser as a plug-in process (started by coxswain)",
		RunE: func(cmd *cobra.Command, _ []string) error {
			runtime.GOMAXPROCS(1)  // one stream: more threads only spin
			debug.SetGCPercent(25) // little garbage, much of the heap for good
			hear := func(v *intents.Vocabulary) (intents.Recogniser, error) {
				r, err := acoustic.New(v)
				debug.FreeOSMemory() // what only the start needed
				return r, err
			}
			return intents.Serve("builtin "+Version, hear, cmd.InOrStdin(), cmd.OutOrStdout())
		},
	}
}

func newListen(c *conf) *cobra.Command {
	var asJSON bool
	var reference string
	var against []string
	cmd := &cobra.Command{
		Use: "listen FILE.wav|FOLDER ...", Short: "Recognise callouts in recordings, and measure a recogniser",
		Long: `Recognise callouts in recordings (16-bit mono WAV at 16 or 48 kHz).

--json prints one object a line: file, start_s, end_s, decided_s (how much had
been heard when it was decided), callout, text, values, confidence.

--reference FILE.tsv measures instead: the file says what was really said
(columns file, condition, start_s, end_s, callout, text, values; an empty
callout is speech that must not be taken for one).`,
		Example: `  coxswain listen drill.wav
  coxswain listen a.wav b.wav --json
  coxswain listen words.wav --vocabulary ten-words.yaml --json
  coxswain listen eval/ --reference eval/reference.tsv
  coxswain listen eval/ --reference eval/reference.tsv --against pocketsphinx`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			v, err := c.vocabulary()
			if err != nil {
				return err
			}
			if v.Alone {
				fmt.Fprintf(cmd.ErrOrStderr(), "coxswain: the vocabulary stands alone: %d callouts of its own\n", len(v.Callouts))
			}
			files, err := wavFiles(args)
			if err != nil {
				return err
			}
			open, err := c.opener(c.v.GetString("recogniser"), v, cmd.ErrOrStderr())
			if err != nil {
				return err
			}
			if reference != "" {
				return c.measureAll(cmd, files, reference, append([]string{c.v.GetString("recogniser")}, against...), v)
			}
			return listenAll(files, open, func(h heard) {
				if asJSON {
					b, _ := json.Marshal(h)
					fmt.Fprintln(cmd.OutOrStdout(), string(b))
					return
				}
				fmt.Fprintf(cmd.OutOrStdout(), "%s  %7.2f-%.2f s  %-20s %3.0f %%  %s\n", h.File, h.StartS, h.EndS, h.Callout, 100*h.Confidence, h.Text)
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON object a line")
	cmd.Flags().StringArrayVar(&against, "against", nil, "with --reference: another recogniser to measure beside the first")
	cmd.Flags().StringVar(&reference, "reference", "", "measure against this reference file")
	return cmd
}

// measureAll measures the named recognisers side by side.
func (c *conf) measureAll(cmd *cobra.Command, files []string, reference string, names []string, v *intents.Vocabulary) error {
	var list []candidate
	for _, name := range names {
		open, err := c.opener(name, v, cmd.ErrOrStderr())
		if err != nil {
			return err
		}
		list = append(list, candidate{name, open})
	}
	return measure(cmd.OutOrStdout(), cmd.ErrOrStderr(), files, reference, list)
}

// opener returns how to get a fresh ear for each file.
func (c *conf) opener(name string, v *intents.Vocabulary, stderr io.Writer) (func() (intents.Ear, error), error) {
	if name == "builtin" { // the same code as the plug-in, without the pipe
		if _, err := acoustic.New(v); err != nil {
			return nil, err
		}
		return func() (intents.Ear, error) {
			r, err := acoustic.New(v)
			return intents.Inline{Recogniser: r}, err
		}, nil
	}
	return func() (intents.Ear, error) {
		return startPlugIn(name, intents.ProcessOptions{Vocabulary: v, Lockstep: true, Patience: 30e9, Stderr: stderr})
	}, nil
}

func wavFiles(args []string) ([]string, error) {
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

// listenAll hears the files, two at a time, and emits results in the files' order.
func listenAll(files []string, open func() (intents.Ear, error), emit func(heard)) error {
	type answer struct {
		list []heard
		err  error
	}
	answers := make([]chan answer, len(files))
	slots := make(chan struct{}, 2)
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
func listenFile(path string, open func() (intents.Ear, error)) ([]heard, error) {
	r, err := audio.OpenMono(path, audio.ListenRate, audio.Rate)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	ear, err := open()
	if err != nil {
		return nil, err
	}
	var out []heard
	take := func(results []intents.Result, faults []string) error {
		for _, x := range results {
			s := func(n int64) float64 { return float64(n*1000/intents.Rate) / 1000 }
			out = append(out, heard{path, s(x.Start), s(x.End), s(x.Decided), x.Callout, x.Text, x.Values, x.Confidence})
		}
		if len(faults) > 0 {
			return fmt.Errorf("%s: %s", path, strings.Join(faults, "; "))
		}
		return nil
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
		if err := take(ear.Hear(pcm[:len(x)])); err != nil {
			ear.Close()
			return out, err
		}
		if rerr != nil {
			err := take(ear.Close(), nil)
			if rerr != io.EOF {
				err = rerr
			}
			return out, err
		}
	}
}

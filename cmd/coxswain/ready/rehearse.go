package ready

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/audio/device"
	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/rig"
	"coxswain/intents"
	"coxswain/intents/acoustic"
	"coxswain/intents/decide"
	"coxswain/intents/evaluate"
	"coxswain/intents/rehearse"
)

const rehearseLong = `Read twenty phrases of the card, as they appear, into the microphone that will be
used, in the room where it will be used. For each it tells whether it would have been
logged (heard), asked about (weak), taken for another callout (other) or lost, and what
to do: microphone, level, another phrase of the card. It listens with the built-in
recogniser and decides as a session does.

--wav judges a recording of the same phrases, read in the same order with a pause
between them. --list prints the phrases.

--keep FILE also learns the voice: some 900 numbers that the recogniser adds inside its
nets, for run, listen and replay with --voice FILE. They are numbers only: no sound is
kept, and none can be made of them. rm FILE deletes the profile. Without --keep nothing is
kept. A profile is an experiment and not shown to help: some voices are heard better,
others worse. Rehearse again with --voice FILE and keep the better way. It is of one person, and of the
nets it was learned with: after an update that brings others, rehearse again.`

const rehearseExample = `  coxswain rehearse
  coxswain rehearse --list
  coxswain rehearse --wav reading.wav --json
  coxswain rehearse --input 'USB Audio'
  coxswain rehearse --keep lea.voice        # 90 s of reading, then a minute of computing
  coxswain rehearse --voice lea.voice       # heard with it: better or not?
  coxswain run --voice lea.voice
  coxswain replay room.wav --voice record/events.jsonl --out again/   # as that record was heard
  rm lea.voice`

// NewRehearse is the command that has a leader read phrases of the card and tells which of
// them are heard.
func NewRehearse(c *config.Config, caution string) *cobra.Command {
	var wav, keep string
	var asJSON bool
	cmd := &cobra.Command{
		Use: "rehearse", Short: "Read twenty phrases of the card aloud: which are heard, and what to do about the others",
		Long: rehearseLong, Example: rehearseExample,
		Args: cobra.NoArgs,
	}
	f := cmd.Flags()
	f.StringVar(&wav, "wav", "", "judge this recording instead of the microphone")
	f.BoolVar(&asJSON, "json", false, "as JSON")
	f.StringVar(&keep, "keep", "", "learn the voice and keep its profile, numbers only, in this new file")
	list := f.Bool("list", false, "print the phrases to read, and end")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		r, err := newReader(c.Vocabulary, rig.VoiceProfile(c, cmd.ErrOrStderr()))
		if err != nil {
			return err
		}
		if err := r.willKeep(keep); err != nil {
			return err
		}
		out := cmd.OutOrStdout()
		switch {
		case *list:
			for _, l := range r.lines {
				fmt.Fprintln(out, l.Text)
			}
			return nil
		case wav != "":
			err = evaluate.Samples(wav, r.hear)
		default:
			err = r.live(cmd.Context(), c, cmd.ErrOrStderr())
		}
		if err == nil {
			err = r.end()
		}
		if err != nil {
			return err
		}
		lost := r.learn(cmd.ErrOrStderr())
		if err := r.print(out, asJSON, caution); err != nil {
			return err
		}
		return lost
	}
	return cmd
}

// reader hears somebody read the lines.
type reader struct {
	v       *intents.Vocabulary
	rules   *decide.Rules
	lines   []rehearse.Line
	ear     intents.Recogniser
	meter   rehearse.Meter
	results []intents.Result
	heard   int64
	keep    string  // file for the voice profile; empty: none is kept
	pcm     []int16 // what was heard, in memory only, while a profile will be learned from it
	kept    string  // what was kept, for the report; empty: nothing
}

func newReader(overlays []string, voice []byte) (*reader, error) {
	v, err := intents.LoadVocabulary(overlays...)
	if err != nil {
		return nil, err
	}
	rules, err := decide.Load()
	if err != nil {
		return nil, err
	}
	ear, err := acoustic.New(v)
	if err != nil {
		return nil, err
	}
	if x, ok := ear.(intents.Candid); ok {
		x.LeaveOpen()
	}
	if x, ok := ear.(intents.Voiced); ok && voice != nil {
		if err := x.UseVoice(voice); err != nil {
			return nil, err
		}
	}
	return &reader{v: v, rules: rules, lines: rehearse.Lines(v), ear: ear}, nil
}

func (r *reader) hear(pcm []int16) error {
	r.meter.Hear(pcm)
	r.heard += int64(len(pcm))
	if r.keep != "" {
		r.pcm = append(r.pcm, pcm...)
	}
	got, err := r.ear.Hear(pcm)
	r.results = append(r.results, got...)
	return err
}

// A line is waited for so long, and the next is shown so long after it was heard.
const (
	lineSeconds  = 6
	afterSeconds = 1
)

// live shows one line after the other and hears the microphone, until all are read or
// somebody interrupts it; what was read until then is judged.
func (r *reader) live(ctx context.Context, c *config.Config, to io.Writer) error {
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM, syscall.SIGINT)
	defer stop()
	e := audio.NewExchange(10)
	e.Ahead(audio.LeadFor(c.Buffer()))
	d, err := device.Open(device.Options{Input: c.Input, Output: c.Output, Buffer: c.Buffer()}, e)
	if err != nil {
		return err
	}
	defer d.Close()
	down, pcm, silent := audio.NewDecimator(audio.Block), make([]int16, audio.Block), [audio.Block]float32{}
	var f audio.Frame
	for k, l := range r.lines {
		fmt.Fprintf(to, "%2d of %d   %s\n", k+1, len(r.lines), l.Text)
		shown, known, end := r.heard, len(r.results), r.heard+lineSeconds*intents.Rate
		for still := time.Now(); r.heard < end; {
			if ctx.Err() != nil {
				r.lines = r.lines[:k]
				return nil
			}
			if !e.Next(&f) {
				if time.Since(still) > 5*time.Second {
					return fmt.Errorf("the sound device stands still: see coxswain check")
				}
				time.Sleep(time.Millisecond)
				continue
			}
			still = time.Now()
			e.Send(silent[:])
			x := down.Process(f.Room[:])
			for i, s := range x {
				pcm[i] = audio.PCM16(s)
			}
			if err := r.hear(pcm[:len(x)]); err != nil {
				return err
			}
			if len(r.results) > known && r.heard-shown > intents.Rate {
				known, end = len(r.results), min(end, r.heard+afterSeconds*intents.Rate)
			}
		}
	}
	return nil
}

// end hears what is left of the reading.
func (r *reader) end() error {
	rest, err := r.ear.Close()
	r.results = append(r.results, rest...)
	return err
}

// print reports.
func (r *reader) print(w io.Writer, asJSON bool, caution string) error {
	report := rehearse.Judge(r.v, r.rules, r.lines, r.results, r.meter.Levels())
	if r.kept != "" {
		report.Kept = r.kept
	}
	if asJSON {
		return json.NewEncoder(w).Encode(report)
	}
	for _, x := range report.Readings {
		fmt.Fprintf(w, "%-6s %-28s %3.0f %%  %s\n", x.Verdict, x.Text, 100*x.Confidence, x.Heard)
	}
	fmt.Fprintf(w, "%d of %d heard, %d weak, %d taken for another, %d lost; voice %.0f dB, room %.0f dB\n",
		report.Count(rehearse.Heard), len(report.Readings), report.Count(rehearse.Weak), report.Count(rehearse.Other),
		report.Count(rehearse.Lost), report.VoiceDB, report.RoomDB)
	for _, a := range report.Advice {
		fmt.Fprintln(w, "-", a)
	}
	fmt.Fprintf(w, "kept: %s\n", report.Kept)
	_, err := fmt.Fprintln(w, caution)
	return err
}

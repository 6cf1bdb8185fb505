// Command hear listens to recordings with the built-in recogniser, anywhere: it
// needs no sound hardware and no C (CGO_ENABLED=0 go build ./cmd/hear).
//
//	hear drill.wav                         results as JSON lines, as coxswain listen --json
//	hear -vocabulary site.yaml eval/       with an overlay, a folder of recordings
//	hear -reference eval/reference.tsv eval/      as coxswain listen --reference, without the case deciding
//	hear -candidates eval/                 every phrase looked at, with its evidence
package main

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"runtime"

	"coxswain/intents"
	"coxswain/intents/acoustic"
	"coxswain/intents/evaluate"
)

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "hear:", err)
		os.Exit(1)
	}
}

func run() error {
	var overlays []string
	flag.Func("vocabulary", "overlay `file`, may be given more than once", func(s string) error {
		overlays = append(overlays, s)
		return nil
	})
	reference := flag.String("reference", "", "measure against this `file`")
	model := flag.String("model", "", "hear with the nets, callouts.tsv and calibration.json in this `folder`")
	candidates := flag.Bool("candidates", false, "write every candidate with its evidence")
	jobs := flag.Int("jobs", runtime.NumCPU(), "recordings heard at a time")
	flag.Parse()
	if flag.NArg() == 0 {
		return fmt.Errorf("name WAV files or folders (16-bit mono, 16 or 48 kHz); -help lists the flags")
	}
	if *model != "" {
		acoustic.Use(os.DirFS(*model))
	}
	v, err := intents.LoadVocabulary(overlays...)
	if err != nil {
		return err
	}
	files, err := evaluate.Files(flag.Args())
	if err != nil {
		return err
	}
	if *candidates {
		return evaluate.Candidates(files, v, os.Stdout)
	}
	open, err := evaluate.Builtin(v, false, nil)
	if err != nil {
		return err
	}
	if *reference != "" {
		return evaluate.Measure(
			os.Stdout,
			os.Stderr,
			files,
			*jobs,
			*reference,
			[]evaluate.Recogniser{{Name: "builtin", Open: open}},
		)
	}
	enc := json.NewEncoder(os.Stdout)
	return evaluate.Listen(files, *jobs, open, func(h evaluate.Heard) { enc.Encode(h) })
}

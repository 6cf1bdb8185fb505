package rig

import (
	"encoding/json"
	"fmt"
	"io"
	"runtime"
	"runtime/debug"
	"strings"

	"coxswain/audio"
	"coxswain/cmd/coxswain/session"
	"coxswain/intents"
	"coxswain/intents/acoustic"
	"coxswain/intents/decide"
	"coxswain/intents/evaluate"
	"coxswain/timeline"
)

// ServeEar is the built-in recogniser as a plug-in process.
func ServeEar(version string, in io.Reader, out io.Writer) error {
	runtime.GOMAXPROCS(1) // one stream: more threads only spin
	hear := func(v *intents.Vocabulary) (intents.Recogniser, error) {
		r, err := acoustic.New(v)
		debug.SetGCPercent(25) // from now on: little garbage, much of the heap for good
		debug.FreeOSMemory()   // what only the start needed
		return r, err
	}
	return intents.Serve("builtin "+version, hear, in, out)
}

// recordings loads the vocabulary and finds the recordings that are named.
func (r Rig) recordings(args []string) (*intents.Vocabulary, []string, error) {
	v, err := intents.LoadVocabulary(r.Vocabulary...)
	if err != nil {
		return nil, nil, err
	}
	if v.Alone {
		fmt.Fprintf(r.Stderr, "coxswain: the vocabulary stands alone: %d callouts of its own\n", len(v.Callouts))
	}
	r.lacks(v)
	files, err := evaluate.Files(args)
	return v, files, err
}

// lacks tells whoever runs a vocabulary that stands alone what is missing in it.
func (r Rig) lacks(v *intents.Vocabulary) {
	if ids := v.Lacks(); len(ids) > 0 {
		fmt.Fprintf(r.Stderr, "coxswain: the vocabulary stands alone and has no %s: what is misheard cannot be taken back, "+
			"or an end not confirmed\n", strings.Join(ids, " and no "))
	}
}

// Listen prints the callouts in recordings.
func (r Rig) Listen(w io.Writer, args []string, asJSON bool) error {
	v, files, err := r.recordings(args)
	if err != nil {
		return err
	}
	open, err := r.opener(r.Recogniser, v, false)
	if err != nil {
		return err
	}
	return evaluate.Listen(files, atATime, open, func(h evaluate.Heard) {
		if asJSON {
			b, _ := json.Marshal(h)
			fmt.Fprintln(w, string(b))
			return
		}
		fmt.Fprintf(w, "%s  %7.2f-%.2f s  %-20s %3.0f %%  %s\n",
			h.File, h.StartS, h.EndS, h.Callout, 100*h.Confidence, h.Text)
	})
}

// Measure measures the recogniser, and others beside it, against a reference: as a session
// hears, which decides by the case so far.
func (r Rig) Measure(w io.Writer, args []string, reference string, against []string) error {
	v, files, err := r.recordings(args)
	if err != nil {
		return err
	}
	rules, err := decide.Load()
	if err != nil {
		return err
	}
	var list []evaluate.Recogniser
	for _, name := range append([]string{r.Recogniser}, against...) {
		open, err := r.opener(name, v, true)
		if err != nil {
			return err
		}
		list = append(list, evaluate.Recogniser{Name: name, Open: evaluate.Decided(open, v, rules, factsOf)})
	}
	return evaluate.Measure(w, r.Stderr, files, atATime, reference, list)
}

// factsOf are the facts of a case in which these callouts were made.
func factsOf(called []intents.Result, now int64) decide.Facts {
	at := func(n int64) timeline.Time { return timeline.Time(n * audio.Rate / intents.Rate) }
	var events []timeline.Event
	for i, x := range called {
		e := timeline.Event{Seq: uint64(i + 1), At: at(x.End), Kind: timeline.Kind(x.Callout), Values: x.Values}
		events = append(events, e)
	}
	return session.FactsOf(timeline.Fold(events), at(now), func(k timeline.Kind) timeline.Time {
		for i := len(events) - 1; i >= 0; i-- {
			if events[i].Kind == k {
				return events[i].At
			}
		}
		return timeline.Never
	})
}

// atATime is how many recordings are heard side by side.
const atATime = 2

// opener returns how to get a fresh ear for each file; open: its results are left open.
func (r Rig) opener(name string, v *intents.Vocabulary, open bool) (evaluate.Opener, error) {
	if name == "builtin" { // the same code as the plug-in, without the pipe
		return evaluate.Builtin(v, open, VoiceProfile(r.Config, r.Stderr))
	}
	return func() (intents.Ear, error) {
		return StartPlugIn(
			name,
			intents.ProcessOptions{Vocabulary: v, Open: open, Lockstep: true, Patience: 30e9, Stderr: r.Stderr},
		)
	}, nil
}

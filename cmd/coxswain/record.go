package main

import (
	"crypto/ed25519"
	"crypto/x509"
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/record"
)

func newTimeline() *cobra.Command {
	var asJSON, all, points bool
	cmd := &cobra.Command{
		Use: "timeline DIR", Short: "Print the timeline of a record",
		Example: "  coxswain timeline records/2026-03-01T140000\n  coxswain timeline DIR --all      # with every prompt that was spoken\n  coxswain timeline DIR --points   # time points of the Utstein template\n  coxswain timeline DIR --json",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			events, tail, err := record.Read(args[0])
			if err != nil && len(events) == 0 {
				return err
			}
			if points {
				return printPoints(cmd.OutOrStdout(), events, asJSON)
			}
			if asJSON {
				enc := json.NewEncoder(cmd.OutOrStdout())
				for _, e := range events {
					if err := enc.Encode(e); err != nil {
						return err
					}
				}
			} else if perr := printTimeline(cmd.OutOrStdout(), events, all); perr != nil {
				return perr
			}
			if tail.Reason != "" {
				fmt.Fprintln(cmd.ErrOrStderr(), "coxswain:", tail.Reason)
			}
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON object a line")
	cmd.Flags().BoolVar(&all, "all", false, "prompts as well as callouts")
	cmd.Flags().BoolVar(&points, "points", false, "Utstein time points instead of events")
	return cmd
}

// printPoints prints the Utstein time points by session time and wall clock.
func printPoints(w io.Writer, events []timeline.Event, asJSON bool) error {
	var wall time.Time
	if len(events) > 0 && events[0].Session != nil {
		wall, _ = time.Parse(time.RFC3339Nano, events[0].Session.Wall)
	}
	clock := func(p figures.TimePoint) string {
		if p.At == timeline.Never {
			return ""
		}
		return wall.Add(audio.Duration(int64(p.At))).Round(time.Second).Format(time.RFC3339)
	}
	if asJSON {
		enc := json.NewEncoder(w)
		for _, p := range figures.Lay(events, timeline.End(events)).TimePoints() {
			if err := enc.Encode(map[string]any{"name": p.Name, "at": p.At, "wall": clock(p)}); err != nil {
				return err
			}
		}
		return nil
	}
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "time point (Utstein, Resuscitation 2019;144:166)\tsession\twall clock")
	for _, p := range figures.Lay(events, timeline.End(events)).TimePoints() {
		at := "not called"
		if p.At != timeline.Never {
			at = p.At.String()
		}
		fmt.Fprintf(tw, "%s\t%s\t%s\n", p.Name, at, clock(p))
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintln(w, "\n"+Caution)
	return err
}

// printTimeline prints events as a table: session time, time since the code
// started, what happened, and how surely it was heard.
func printTimeline(w io.Writer, events []timeline.Event, all bool) error {
	gone := timeline.Retracted(events)
	start := timeline.Fold(events).Started
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "#\tsession\tcode\tevent\theard as\tsure")
	for _, e := range events {
		switch e.Kind {
		case timeline.CueSpoken, timeline.CueDropped:
			if !all {
				continue
			}
		}
		code, text, sure := "", "", ""
		if start != timeline.Never && e.At >= start {
			code = (e.At - start).String()
		}
		if e.Heard != nil {
			text, sure = e.Heard.Text, fmt.Sprintf("%.0f %%", 100*e.Heard.Confidence)
		}
		what := e.Describe()
		if gone[e.Seq] {
			what += " (taken back)"
		}
		fmt.Fprintf(tw, "%d\t%s\t%s\t%s\t%s\t%s\n", e.Seq, e.At, code, what, text, sure)
	}
	if err := tw.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n"+Caution)
	return nil
}

func newVerify() *cobra.Command {
	var keyFile string
	cmd := &cobra.Command{
		Use: "verify DIR", Short: "Check that a record is whole and unchanged",
		Long: "Check the chain of the journal's hashes, that every event lies within the audio, and that the audio files are whole and follow each other.",
		Args: cobra.ExactArgs(1), Example: "  coxswain verify records/2026-03-01T140000\n  coxswain verify DIR --key /etc/coxswain.key.pub   # the signature too",
		RunE: func(cmd *cobra.Command, args []string) error {
			events, length, err := verify(args[0])
			if err != nil {
				return err
			}
			signed := ""
			if keyFile != "" {
				key, err := readKey[ed25519.PublicKey](keyFile, x509.ParsePKIXPublicKey)
				if err != nil {
					return err
				}
				if err := checkSignature(args[0], key); err != nil {
					return err
				}
				signed = ", signature holds"
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s: whole: %d events in an unbroken chain, %v of audio%s\n", args[0], len(events), audio.Duration(length), signed)
			return nil
		},
	}
	cmd.Flags().StringVar(&keyFile, "key", "", "public key: check the signature too")
	return cmd
}

// verify returns the events and the samples of audio of a whole record.
func verify(dir string) ([]timeline.Event, int64, error) {
	path := filepath.Join(dir, record.JournalName)
	events, tail, err := record.Read(dir)
	if err != nil {
		return nil, 0, err
	}
	if tail.Reason != "" {
		return nil, 0, fmt.Errorf("%s: the session was cut off; nothing acknowledged is lost; finish the record with `coxswain mend %s`", tail.Reason, dir)
	}
	if len(events) == 0 || events[0].Kind != timeline.SessionOpen || events[0].Session == nil {
		return nil, 0, fmt.Errorf("%s: does not begin with session.open", path)
	}
	length, err := audioLength(dir)
	if err != nil {
		return nil, 0, err
	}
	called := timeline.AsCalled(events)
	if last := called[len(called)-1]; last.Kind != timeline.SessionClose {
		return nil, 0, fmt.Errorf("%s: the session was cut off after event %d; finish the record with `coxswain mend %s`", path, last.Seq, dir)
	}
	for _, e := range events {
		if int64(e.At) > length+audio.Rate || e.At < 0 {
			return nil, 0, fmt.Errorf("%s: event %d (%s) lies at %s, outside the audio of %v", path, e.Seq, e.Kind, e.At, audio.Duration(length))
		}
	}
	return events, length, nil
}

// audioLength adds up the parts of an audio log and checks their headers.
func audioLength(dir string) (int64, error) {
	parts, err := filepath.Glob(filepath.Join(dir, "audio-*.wav"))
	if err != nil {
		return 0, err
	}
	if len(parts) == 0 {
		return 0, fmt.Errorf("%s: holds no audio", dir)
	}
	var total int64
	for n := range parts {
		path := filepath.Join(dir, recorder.PartName(n))
		if err := recorder.CheckPart(path); err != nil {
			return 0, err
		}
		r, err := recorder.OpenWAV(path)
		if err != nil {
			return 0, err
		}
		total += r.Samples
		r.Close()
	}
	return total, nil
}

func newMend() *cobra.Command {
	return &cobra.Command{
		Use: "mend DIR", Short: "Finish a record whose session was cut off",
		Long: "Finish a record after a crash or power cut: cut an unfinished last line from the journal (it is kept beside it), make the sizes in the audio files true, write the labels and close the journal.",
		Args: cobra.ExactArgs(1), Example: "  coxswain mend records/2026-03-01T140000",
		RunE: func(cmd *cobra.Command, args []string) error {
			dir := args[0]
			j, events, err := record.Reopen(dir)
			if err != nil {
				return err
			}
			defer j.Close()
			length, err := recorder.Mend(dir, record.Marks(events))
			if err != nil {
				return err
			}
			if !closed(events) {
				if _, err := j.Append(timeline.Event{At: timeline.Time(length), Kind: timeline.SessionClose, Text: "finished by coxswain mend after the session was cut off"}); err != nil {
					return err
				}
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s: finished: %d events, %v of audio\n", dir, len(events), audio.Duration(length))
			return nil
		},
	}
}

// closed reports whether the session came to its end.
func closed(events []timeline.Event) bool {
	return slices.ContainsFunc(events, func(e timeline.Event) bool { return e.Kind == timeline.SessionClose })
}

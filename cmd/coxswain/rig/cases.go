package rig

import (
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"

	"coxswain/cmd/coxswain/config"
	"coxswain/timeline"
	"coxswain/timeline/drill"
)

// ChooseCase returns the case that is named, or the one in a file.
func ChooseCase(args []string, file string) (*drill.Case, error) {
	switch {
	case file == "":
		return drill.Load(args[0])
	case len(args) > 0:
		return nil, fmt.Errorf("%q and --case %s are two cases: name one", args[0], file)
	}
	return readCase(file)
}

// readCase reads a case's file.
func readCase(file string) (*drill.Case, error) {
	b, err := config.ReadYAML(file)
	if err != nil {
		return nil, err
	}
	return drill.Parse(file, b)
}

// CheckCase says whether a case's file is well formed.
func CheckCase(w io.Writer, file string) error {
	c, err := readCase(file)
	if err != nil {
		return err
	}
	points := 0
	for _, l := range c.Look {
		points += l.Points
	}
	_, err = fmt.Fprintf(
		w,
		"%s: %q is well formed: %d sentences, %d things looked for, %d points\n",
		file,
		c.Title,
		len(c.Tell),
		len(c.Look),
		points,
	)
	return err
}

// TellOn prints the case as it is told.
func TellOn(w io.Writer) func(timeline.Event) {
	return func(e timeline.Event) {
		if e.Kind == timeline.CueSpoken && e.Cue == "drill" {
			fmt.Fprintf(w, "%s  %s\n", e.At, e.Sentence)
		}
	}
}

// ListCases prints the cases that there are, as a table or one JSON object a line.
func ListCases(w io.Writer, asJSON bool) error {
	tw, enc := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0), json.NewEncoder(w)
	for _, id := range drill.IDs() {
		c, err := drill.Load(id)
		if err != nil {
			return err
		}
		if asJSON {
			if err := enc.Encode(map[string]any{"case": id, "title": c.Title, "minutes": c.Minutes}); err != nil {
				return err
			}
			continue
		}
		fmt.Fprintf(tw, "%s\t%s\tup to %g min\n", id, c.Title, c.Minutes)
	}
	return tw.Flush()
}

package rig

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"coxswain/timeline"
	"coxswain/timeline/drill"
)

// Drill is how a drill is asked for.
type Drill struct {
	In, Out string // recording to hear instead of the microphone; folder for the record
	Wall    string // time of the recording's first sample
	Score   string // record to score; nothing is played
	File    string // with a case of a site's own
	Check   string // file of a case that is only checked
	Team    string // that practises; empty: not said
	Silent  bool   // advice off
	Typed   bool   // callouts come by keyboard
	Scored  bool   // a protocol to score by was named
	Caution string
}

// drillModes are the flags of coxswain drill that each choose another thing to do, and
// those that mean something with it. The last ones play a case live, or list the cases.
var drillModes = []struct{ flag, with string }{
	{"check", ""},
	{"serve", "case listen open"},
	{"score", "case json"},
	{"typed", "case record json silent team"},
	{"from", "case record json silent team wall"},
	{"case", "json silent team"},
	{"", "json"},
}

// DrillFlags refuses flags that would do nothing with each other: silently left aside,
// they would have a team believe that they counted. given are those that are no settings
// (see config.Given); a case is named, or none.
func DrillFlags(given []string, named bool) error {
	for _, m := range drillModes {
		chosen := slices.Contains(given, m.flag) || m.flag == "case" && named || m.flag == ""
		if !chosen {
			continue
		}
		if !named && slices.Contains([]string{"score", "typed", "from"}, m.flag) {
			return fmt.Errorf("--%s needs a case: name one of coxswain drill, or --case FILE", m.flag)
		}
		for _, f := range given {
			if f == m.flag || slices.Contains(strings.Fields(m.with), f) {
				continue
			}
			switch m.flag {
			case "":
				return fmt.Errorf("--%s needs a case: name one of coxswain drill, or --case FILE", f)
			case "case":
				return fmt.Errorf("--%s does nothing in a live drill: say --typed, --from FILE or --serve too, or leave it out", f)
			}
			return fmt.Errorf("--%s does nothing with --%s: leave one of them out", f, m.flag)
		}
		return nil
	}
	return nil
}

// Drill plays a drill as it was asked for. It returns its case, the protocol to
// score it by, and the record's folder.
func (r Rig) Drill(ctx context.Context, d Drill, args []string, typed io.Reader) (
	chosen *drill.Case, p *timeline.Protocol, dir string, err error) {
	if chosen, err = ChooseCase(args, d.File); err != nil {
		return nil, nil, "", err
	}
	if made := chosen.Protocol; made != "" {
		if d.Scored && r.Guideline.Protocol != made {
			return nil, nil, "", fmt.Errorf("case %s is made for %s: leave --protocol out", chosen.ID, made)
		}
		r.Guideline.Protocol = made
	}
	if dir, err = r.practise(ctx, d, chosen, typed); err != nil {
		return nil, nil, "", err
	}
	p, err = Protocol(r.Config)
	return chosen, p, dir, err
}

func (r Rig) practise(ctx context.Context, d Drill, chosen *drill.Case, typed io.Reader) (dir string, err error) {
	p := Practice{Case: chosen, Team: d.Team, Silent: d.Silent, Watch: TellOn(r.Stderr)}
	switch {
	case d.Score != "":
		return d.Score, nil
	case d.Typed:
		fmt.Fprintln(r.Stderr, d.Caution)
		return r.Typed(ctx, p, d.Out, typed)
	case d.In == "":
		return r.Live(ctx, p)
	case d.Out == "":
		return "", fmt.Errorf("where should the record go? say --record DIR")
	}
	at, err := time.Parse(time.RFC3339, d.Wall)
	if err != nil {
		return "", fmt.Errorf("--wall %q: want a time such as 2026-03-01T14:00:00+01:00", d.Wall)
	}
	p.Watch = nil
	return d.Out, r.Replay(Recording{In: d.In, Dir: d.Out, Wall: at, Practice: p}, r.Stderr)
}

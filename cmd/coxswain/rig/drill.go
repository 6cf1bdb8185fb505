package rig

import (
	"context"
	"fmt"
	"io"
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
	Team    string // that practises; empty: not said
	Silent  bool   // advice off
	Typed   bool   // callouts come by keyboard
	Scored  bool   // a protocol to score by was named
	Caution string
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

package rig

import (
	"context"

	"coxswain/cmd/coxswain/web"
	"coxswain/intents"
	"coxswain/timeline/drill"
)

// Drills are the drills that a page can run: the case of a file, if one is named,
// and the built-in ones. Spoken ones need a sound device when they are begun.
func (r Rig) Drills(file string) (web.Drills, error) {
	var cases []*drill.Case
	if file != "" {
		c, err := readCase(file)
		if err != nil {
			return web.Drills{}, err
		}
		cases = append(cases, c)
	}
	for _, id := range drill.IDs() {
		c, err := drill.Load(id)
		if err != nil {
			return web.Drills{}, err
		}
		cases = append(cases, c)
	}
	v, err := intents.LoadVocabulary(r.Vocabulary...)
	if err != nil {
		return web.Drills{}, err
	}
	var phrases []string
	for _, c := range v.Callouts {
		phrases = append(phrases, c.Phrases...)
	}
	return web.Drills{Cases: cases, Phrases: phrases, Run: r.served}, nil
}

// served runs a drill as a page asks for it.
func (r Rig) served(ctx context.Context, d web.Drill) (dir string, err error) {
	c := *r.Config // the case may want a protocol of its own
	if r.Config = &c; d.Case.Protocol != "" {
		c.Guideline.Protocol = d.Case.Protocol
	}
	p := Practice{Case: d.Case, Team: d.Team, Silent: d.Silent, Watch: d.Watch, Look: d.Look}
	if d.Spoken {
		return r.Live(ctx, p)
	}
	return r.keyed(ctx, p, "", d.Lines, &terminal{refused: d.Refused})
}

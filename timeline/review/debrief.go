package review

import (
	"slices"
	"strings"

	"coxswain/timeline"
	"coxswain/timeline/drill"
)

// Debriefing is how a team did in a drill: a function of the record, of the
// case and of the protocol by which it was held.
type Debriefing struct {
	Case     string          `json:"case"`
	Title    string          `json:"title"`
	Team     string          `json:"team,omitempty"`
	Silent   bool            `json:"silent,omitempty"` // advice was off
	Protocol string          `json:"protocol"`
	ByTitle  string          `json:"protocol_title"`
	Points   int             `json:"points"`
	Of       int             `json:"of"`
	Findings []drill.Finding `json:"findings"`
}

// Debrief scores the record of a drill; nil if it is none, or if its case or its
// protocol is not at hand. Cases are those that are not built in.
func Debrief(events []timeline.Event, cases ...*drill.Case) *Debriefing {
	s := events[0].Session
	if s == nil || s.Drill == nil {
		return nil
	}
	c, err := drill.Load(s.Drill.Case)
	if i := slices.IndexFunc(cases, func(c *drill.Case) bool { return c.ID == s.Drill.Case }); i >= 0 {
		c, err = cases[i], nil
	}
	if err != nil {
		return nil
	}
	id, _, _ := strings.Cut(s.Protocol, " ")
	p, err := timeline.LoadProtocol(id)
	if err != nil {
		return nil
	}
	d := &Debriefing{
		Case:     c.ID,
		Title:    c.Title,
		Team:     s.Drill.Team,
		Silent:   s.Drill.Silent,
		Protocol: p.ID,
		ByTitle:  p.Title,
	}
	d.Findings = c.Score(p, events)
	for _, f := range d.Findings {
		d.Points, d.Of = d.Points+f.Points, d.Of+f.Of
	}
	return d
}

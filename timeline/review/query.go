package review

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"coxswain/timeline"
	"coxswain/timeline/drill"
)

// Query says which records are wanted; its zero value wants all.
type Query struct {
	Search  string // words that the record's line has, all of them
	Kind    string // code or drill
	Rhythm  string // the first one called
	Outcome string
	From    string // first and last day, 2026-03-01
	To      string
	Odd     bool // only with something to look at: unsure callouts, faults
}

// Of are the records of a list that are wanted, in its order.
func (q Query) Of(list []Summary) []Summary {
	words := strings.Fields(strings.ToLower(q.Search))
	out := []Summary{}
	for _, s := range list {
		if q.wants(s) && s.hasAll(words) {
			out = append(out, s)
		}
	}
	return out
}

func (q Query) wants(s Summary) bool {
	day := s.Wall.Format(time.DateOnly)
	switch {
	case q.Kind == "code" && !s.code(), q.Kind == "drill" && s.Drill == nil:
		return false
	case q.Rhythm != "" && s.Rhythm != q.Rhythm, q.Outcome != "" && s.Outcome != q.Outcome:
		return false
	case q.From != "" && day < q.From, q.To != "" && day > q.To:
		return false
	}
	return !q.Odd || s.Unsure > 0 || s.Faults > 0
}

// hasAll reports whether the record's line has all words, in small letters.
func (s Summary) hasAll(words []string) bool {
	if len(words) == 0 {
		return true
	}
	parts := []string{s.Name, s.Wall.Format(time.RFC3339), s.Rhythm, s.Outcome}
	if s.Drill != nil {
		parts = append(parts, "drill", s.Drill.Case, s.Drill.Team)
	}
	line := strings.ToLower(strings.Join(parts, " "))
	return !slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(line, w) })
}

// Progress is how a team did in its drills, one after the other.
type Progress struct {
	Team   string    `json:"team"`
	Drills []Summary `json:"drills"` // oldest first, each with its score
	Lost   []Lost    `json:"lost"`   // what cost points, most often first
}

// Lost is something looked for that cost a team points.
type Lost struct {
	Reason string `json:"reason"`
	Times  int    `json:"times"`
	Of     int    `json:"of"` // times it was looked for
	Better string `json:"better"`
}

// ProgressOf tells how each team did, by the drills in a list, newest first.
func ProgressOf(list []Summary) []Progress {
	byTeam := map[string]*Progress{}
	for _, s := range slices.Backward(list) {
		if s.Score == nil || s.Twin != "" {
			continue
		}
		p := byTeam[s.Drill.Team]
		if p == nil {
			p = &Progress{Team: s.Drill.Team}
			byTeam[s.Drill.Team] = p
		}
		p.Drills = append(p.Drills, s)
		for _, f := range s.Score.Findings {
			p.count(f)
		}
	}
	var out []Progress
	for _, p := range byTeam {
		p.Lost = slices.DeleteFunc(p.Lost, func(l Lost) bool { return l.Times == 0 })
		slices.SortStableFunc(p.Lost, func(a, b Lost) int { return b.Times - a.Times })
		out = append(out, *p)
	}
	slices.SortFunc(out, func(a, b Progress) int { return cmp.Compare(a.Team, b.Team) })
	return out
}

// count takes a finding into what costs the team points.
func (p *Progress) count(f drill.Finding) {
	if f.Of == 0 {
		return // it did not apply
	}
	i := slices.IndexFunc(p.Lost, func(l Lost) bool { return l.Reason == f.Reason })
	if i < 0 {
		i = len(p.Lost)
		p.Lost = append(p.Lost, Lost{Reason: f.Reason})
	}
	l := &p.Lost[i]
	if l.Of++; f.Points < f.Of {
		l.Times++
		l.Better = f.Better
	}
}

// Draw draws the share of points by drill as SVG, so wide, or as a drawing is where width is 0.
func (p Progress) Draw(width float64) (string, error) {
	d := Drawing{
		Title:   "points of " + cmp.Or(p.Team, "a team without a name"),
		Axis:    "drill",
		UnderAx: "points",
		To:      max(1, float64(len(p.Drills)-1)),
		Width:   width,
	}
	curve := Curve{Levels: []Level{{0, ""}, {100, ""}}}
	for i, s := range p.Drills {
		share := 100 * float64(s.Score.Points) / float64(max(1, s.Score.Of))
		curve.Points = append(curve.Points, Point{X: float64(i), Y: share})
		d.Ticks = append(d.Ticks, Tick{float64(i), s.Wall.Format(time.DateOnly)})
		d.Under = append(d.Under, Tick{float64(i), timeline.FormatNumber(float64(s.Score.Points)) + " of " +
			timeline.FormatNumber(float64(s.Score.Of))})
	}
	d.Lanes = []Lane{{Name: "%", Curve: &curve}}
	return d.SVG()
}

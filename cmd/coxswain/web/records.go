package web

import (
	"context"
	"errors"
	"io/fs"
	"net/http"
	"os/signal"
	"path"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"

	"coxswain/cmd/coxswain/session"
	"coxswain/timeline/drill"
	"coxswain/timeline/figures"
	"coxswain/timeline/review"
)

// library serves the records of a folder.
type library struct {
	index *review.Index
	from  Records
	defs  []figures.Definition

	practice bool // there is a page for drills

	mu   sync.Mutex
	open []opened // review pages, the one last used at the end
}

// opened is the review page of one record or of two.
type opened struct {
	dirs string
	page http.Handler
}

// Answers of the page of records.
const (
	linesOnPage = 100 // records sent at once
	mostOpened  = 8   // review pages that are kept ready
)

// Library serves the page of all records: to search, to open one or two of them
// on a review page, run charts, and how teams do in their drills. With practice,
// drills are run on a page of their own, /practice/.
func Library(index *review.Index, from Records, defs []figures.Definition, practice *Practice) http.Handler {
	l := &library{index: index, from: from, defs: defs, practice: practice != nil}
	mux := http.NewServeMux()
	if practice != nil {
		mux.Handle("/practice/", http.StripPrefix("/practice", practice.Handler()))
	}
	mux.HandleFunc("GET /api/list", l.list)
	mux.HandleFunc("GET /api/charts", l.charts)
	mux.HandleFunc("GET /api/progress", l.progress)
	mux.HandleFunc("/record/{a}/", func(w http.ResponseWriter, r *http.Request) {
		l.review(w, r, "/record/"+r.PathValue("a"), r.PathValue("a"))
	})
	mux.HandleFunc("/pair/{a}/{b}/", func(w http.ResponseWriter, r *http.Request) {
		a, b := r.PathValue("a"), r.PathValue("b")
		l.review(w, r, "/pair/"+a+"/"+b, a, b)
	})
	mux.Handle("/", static("records"))
	return mux
}

// query reads what is asked for.
func query(r *http.Request) review.Query {
	v := r.URL.Query().Get
	return review.Query{
		Search:  v("search"),
		Kind:    v("kind"),
		Rhythm:  v("rhythm"),
		Outcome: v("outcome"),
		From:    v("from"),
		To:      v("to"),
		Odd:     v("odd") != "",
	}
}

// wanted are the records that are asked for, of all that there are.
func (l *library) wanted(w http.ResponseWriter, r *http.Request) (wanted []review.Summary, ok bool) {
	all, _, err := l.index.Lines()
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return nil, false
	}
	return query(r).Of(all), true
}

// list sends a page of lines and what there is to choose from.
func (l *library) list(w http.ResponseWriter, r *http.Request) {
	all, bad, left, err := l.index.Some() // the page asks again while some are left
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	list := query(r).Of(all)
	rhythms, outcomes := choices(all)
	n, _ := strconv.Atoi(r.URL.Query().Get("skip"))
	n = min(max(n, 0), len(list))
	sendJSON(w, map[string]any{
		"all":      len(all),
		"matching": len(list),
		"lines":    list[n:min(n+linesOnPage, len(list))],
		"skipped":  n,
		"rhythms":  rhythms,
		"outcomes": outcomes,
		"left_out": bad,
		"unread":   left,
		"practice": l.practice,
		"caution":  session.Caution,
	})
}

// choices are the rhythms and outcomes that records have.
func choices(all []review.Summary) (rhythms, outcomes []string) {
	r, o := map[string]bool{}, map[string]bool{}
	for _, s := range all {
		r[s.Rhythm], o[s.Outcome] = true, true
	}
	for _, set := range []struct {
		from map[string]bool
		to   *[]string
	}{{r, &rhythms}, {o, &outcomes}} {
		for k := range set.from {
			if k != "" {
				*set.to = append(*set.to, k)
			}
		}
		slices.Sort(*set.to)
	}
	return rhythms, outcomes
}

// pictureWidth is how wide a chart is asked for, in units of the picture; 0: not said.
func pictureWidth(r *http.Request) float64 {
	w, err := strconv.ParseFloat(r.URL.Query().Get("width"), 64)
	if err != nil || !(w > 0) {
		return 0
	}
	return min(max(w, 280), 1200)
}

// chart is a figure by month, drawn.
type chart struct {
	figures.Definition
	SVG    string         `json:"svg"`
	Months []review.Month `json:"months"` // those that are no chance
}

// chartOf makes the chart of one figure; nil if no record has it.
func chartOf(list []review.Summary, d figures.Definition, width float64) (*chart, error) {
	c := review.RunChartOf(list, d)
	if len(c.Months) == 0 {
		return nil, nil
	}
	svg, err := review.DrawRunChart(c, d, width)
	if err != nil {
		return nil, err
	}
	out := &chart{Definition: d, SVG: svg}
	for _, m := range c.Months {
		if m.Signal != "" {
			for i, p := range m.Worst {
				m.Worst[i] = path.Base(p)
			}
			out.Months = append(out.Months, m)
		}
	}
	return out, nil
}

// charts sends the run charts of the records that are asked for, made on all cores.
func (l *library) charts(w http.ResponseWriter, r *http.Request) {
	list, ok := l.wanted(w, r)
	if !ok {
		return
	}
	made, errs := make([]*chart, len(l.defs)), make([]error, len(l.defs))
	var all sync.WaitGroup
	for i, d := range l.defs {
		all.Go(func() { made[i], errs[i] = chartOf(list, d, pictureWidth(r)) })
	}
	all.Wait()
	if err := errors.Join(errs...); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	none := func(c *chart) bool { return c == nil }
	sendJSON(w, append([]*chart{}, slices.DeleteFunc(made, none)...))
}

// progress sends how each team did in its drills.
func (l *library) progress(w http.ResponseWriter, r *http.Request) {
	list, ok := l.wanted(w, r)
	if !ok {
		return
	}
	type team struct {
		review.Progress
		SVG string `json:"svg"`
	}
	out := []team{}
	for _, p := range review.ProgressOf(list) {
		svg, err := p.Draw(pictureWidth(r))
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		out = append(out, team{p, svg})
	}
	sendJSON(w, out)
}

// review hands a request to the review page of records, by their names.
func (l *library) review(w http.ResponseWriter, r *http.Request, at string, names ...string) {
	dirs, err := l.named(names)
	if err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	if len(dirs) < len(names) {
		http.Error(w, l.whyNot(names), http.StatusNotFound)
		return
	}
	http.StripPrefix(at, l.page(dirs)).ServeHTTP(w, r)
	if r.Method == http.MethodPost { // amended: its line is another
		for _, d := range dirs {
			l.index.Forget(d)
		}
	}
}

// whyNot tells why records do not open: one of them cannot be read, or there is none of the name.
func (l *library) whyNot(names []string) string {
	_, bad, _, _ := l.index.Some()
	for _, name := range names {
		for _, why := range bad {
			if strings.Contains(why, "/"+name+"/") || strings.Contains(why, "/"+name+":") {
				return "this record cannot be read: " + why
			}
		}
	}
	return "no record of this name: it may have been moved or deleted"
}

// named are the folders of records by their names; one that is none is left out. All are read only
// where a name is not among those that were.
func (l *library) named(names []string) (dirs []string, err error) {
	some, _, left, err := l.index.Some()
	for i := 0; i < len(names) && err == nil; i++ {
		is := func(s review.Summary) bool { return s.Name == names[i] }
		k := slices.IndexFunc(some, is)
		if k < 0 && left > 0 {
			some, _, err = l.index.Lines()
			left, k = 0, slices.IndexFunc(some, is)
		}
		if k >= 0 {
			dirs = append(dirs, some[k].Path)
		}
	}
	return dirs, err
}

// page returns the review page of records; the last few are kept.
func (l *library) page(dirs []string) http.Handler {
	l.mu.Lock()
	defer l.mu.Unlock()
	key := path.Join(dirs...)
	if i := slices.IndexFunc(l.open, func(o opened) bool { return o.dirs == key }); i >= 0 {
		o := l.open[i]
		l.open = append(slices.Delete(l.open, i, i+1), o)
		return o.page
	}
	page := newReviewer(l.from, dirs).handler()
	if len(l.open) == mostOpened {
		l.open = slices.Delete(l.open, 0, 1)
	}
	l.open = append(l.open, opened{key, page})
	return page
}

// ServeRecords serves the page of a folder's records or, with drills, that on which
// they are run, until SIGTERM, SIGINT or the end of ctx; a drill that runs is ended.
func (p Private) ServeRecords(
	ctx context.Context, folder string, from Records, defs []figures.Definition, drills *Drills,
) error {
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGTERM, syscall.SIGINT)
	defer stop()
	var practice *Practice
	var own []*drill.Case
	if drills != nil {
		own = drills.Cases
		from = Debriefed(from, own...)
	}
	index := review.NewIndex(folder, defs, own...)
	if _, _, _, err := index.Some(); err != nil {
		return err
	}
	if drills != nil {
		practice = NewPractice(ctx, *drills, index.Forget)
		defer practice.Wait()
		defer stop()
		p.path = "practice/"
	}
	return p.Serve(ctx, Library(index, from, defs, practice))
}

// Debriefed is from, with drills on cases that are not built in scored too.
func Debriefed(from Records, own ...*drill.Case) Records {
	load := from.Load
	from.Load = func(dir string) (*review.Record, error) {
		r, err := load(dir)
		if err == nil && r.Debriefing == nil {
			r.Debriefing = review.Debrief(r.Events, own...)
		}
		return r, err
	}
	return from
}

// static serves a page's own files and those that pages share.
func static(page string) http.Handler {
	own, _ := fs.Sub(files, page)
	shared, _ := fs.Sub(files, "shared")
	return http.FileServerFS(both{own, shared})
}

// both is one folder laid over another.
type both struct{ over, under fs.FS }

// Open implements fs.FS.
func (b both) Open(name string) (fs.File, error) {
	f, err := b.over.Open(name)
	if err != nil {
		return b.under.Open(name)
	}
	return f, nil
}

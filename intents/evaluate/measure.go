package evaluate

import (
	"bufio"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"text/tabwriter"

	"coxswain/audio/recorder"
)

// said is one row of a reference file.
type said struct {
	file, condition, callout, text string
	start, end                     float64
	values                         map[string]float64
}

// tally is what was measured under one condition.
type tally struct {
	callouts, right, wrong, missed int
	asked                          int // of missed: asked about
	near, nearTaken                int
	invented                       int
	standing                       int // wrong results that nobody took back: see stands
	seconds                        float64
	delays                         []float64
}

// Recogniser is one to measure, under the name that the table has for it.
type Recogniser struct {
	Name string
	Open Opener
}

// Measure has every recogniser hear the files, some at a time, and prints, for
// each condition of the reference, how often a callout was missed (and asked about), taken for
// another or invented, and how long after its end it was decided. Every mistake
// is a line on stderr. The reference is a table of tabs: file, condition, start_s,
// end_s, callout (empty: speech that is none), text, values (slot=number).
func Measure(stdout, stderr io.Writer, files []string, atATime int, reference string, list []Recogniser) error {
	rows, err := readReference(reference)
	if err != nil {
		return err
	}
	var todo []string
	for _, f := range files {
		if rows[filepath.Base(f)] != nil {
			todo = append(todo, f)
		}
	}
	if len(todo) == 0 {
		return fmt.Errorf("%s: names none of the files", reference)
	}
	results := map[string]map[string]*tally{}
	for _, c := range list {
		if results[c.Name], err = c.measure(todo, atATime, rows, stderr); err != nil {
			return err
		}
	}
	return printTallies(stdout, list, results)
}

// measure returns what one recogniser made of the files, by condition.
func (c Recogniser) measure(
	files []string,
	atATime int,
	rows map[string][]said,
	log io.Writer,
) (map[string]*tally, error) {
	heardIn := map[string][]Heard{}
	if err := Listen(files, atATime, c.Open, func(h Heard) { heardIn[h.File] = append(heardIn[h.File], h) }); err != nil {
		return nil, err
	}
	total := map[string]*tally{}
	for _, f := range files {
		ref := rows[filepath.Base(f)]
		t := total[ref[0].condition]
		if t == nil {
			t = &tally{}
			total[ref[0].condition] = t
		}
		r, err := recorder.OpenWAV(f)
		if err != nil {
			return nil, err
		}
		t.seconds += float64(r.Samples) / float64(r.SampleHz)
		r.Close()
		t.compare(ref, heardIn[f], log)
	}
	return total, nil
}

func readReference(path string) (map[string][]said, error) {
	f, err := recorder.OpenNamed(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	out := map[string][]said{}
	s := bufio.NewScanner(f)
	for n := 1; s.Scan(); n++ {
		c := strings.Split(s.Text(), "\t")
		if n == 1 && c[0] == "file" || s.Text() == "" {
			continue
		}
		if len(c) != 7 {
			return nil, fmt.Errorf(
				"%s:%d: want 7 columns, separated by tabs: file, condition, start_s, end_s, callout, text, values",
				path,
				n,
			)
		}
		x := said{file: c[0], condition: c[1], callout: c[4], text: c[5], values: map[string]float64{}}
		var e1, e2 error
		x.start, e1 = strconv.ParseFloat(c[2], 64)
		x.end, e2 = strconv.ParseFloat(c[3], 64)
		if e1 != nil || e2 != nil {
			return nil, fmt.Errorf("%s:%d: start_s and end_s must be numbers", path, n)
		}
		for _, kv := range strings.Fields(c[6]) {
			k, v, _ := strings.Cut(kv, "=")
			if x.values[k], e1 = strconv.ParseFloat(v, 64); e1 != nil {
				return nil, fmt.Errorf("%s:%d: values: want slot=number", path, n)
			}
		}
		out[x.file] = append(out[x.file], x)
	}
	return out, s.Err()
}

// compare matches what was heard with what was said: the middle of a result
// must lie in the utterance, widened by a quarter of a second. Rows of the same
// time are one utterance with as many callouts, in their order.
func (t *tally) compare(ref []said, got []Heard, log io.Writer) {
	var questions []Heard
	got, questions = apart(got)
	used, good := make([]bool, len(got)), make([]bool, len(got))
	for len(ref) > 0 {
		all := together(ref)
		s := all[0]
		ref = ref[len(all):]
		if s.end <= s.start {
			continue
		}
		var hits []Heard
		var at []int
		for i, h := range got {
			if !used[i] && s.holds(h) {
				hits, at = append(hits, h), append(at, i)
				used[i] = true
			}
		}
		t.utterance(all, hits, log)
		t.question(s, hits, questions)
		for k, i := range at {
			good[i] = k < len(all) && got[i].Callout == all[k].callout && sameValues(got[i].Values, all[k].values)
		}
	}
	t.standing += stands(got, good)
	for i, u := range used {
		if !u {
			t.invented++
			fmt.Fprintf(log, "%s %.1f s: invented %s\n", got[i].File, got[i].StartS, show(got[i:i+1]))
		}
	}
}

// holds reports whether the middle of a result lies in the utterance, widened by a quarter of a
// second.
func (s said) holds(h Heard) bool {
	m := (h.StartS + h.EndS) / 2
	return m > s.start-.25 && m < s.end+.25
}

// question counts an utterance that was asked about instead of called.
func (t *tally) question(s said, hits, questions []Heard) {
	if len(hits) == 0 && s.callout != "" && slices.ContainsFunc(questions, s.holds) {
		t.asked++
	}
}

// apart parts what was called from what was asked about.
func apart(got []Heard) (called, asked []Heard) {
	for _, h := range got {
		if h.Asked {
			asked = append(asked, h)
		} else {
			called = append(called, h)
		}
	}
	return called, asked
}

// together returns the first rows of ref that are one utterance: of the same time.
func together(ref []said) []said {
	n := 1
	for n < len(ref) && ref[n].start == ref[0].start && ref[n].end == ref[0].end {
		n++
	}
	return ref[:n]
}

// stands counts the wrong results of a recording that are left at its end: an "undo"
// takes the one before it back, as a team does that heard it read back.
func stands(got []Heard, good []bool) (wrong int) {
	var kept []bool
	for i, h := range got {
		if h.Callout == "undo" {
			kept = kept[:max(0, len(kept)-1)]
		} else {
			kept = append(kept, good[i])
		}
	}
	for _, g := range kept {
		if !g {
			wrong++
		}
	}
	return wrong
}

// utterance counts one utterance: right if every callout in it was heard, and no other.
func (t *tally) utterance(ref []said, hits []Heard, log io.Writer) {
	s := ref[0]
	if s.callout == "" {
		t.near++
		if len(hits) > 0 {
			t.nearTaken++
			fmt.Fprintf(log, "%s %.1f s: near miss %q taken for %s\n", s.file, s.start, s.text, show(hits))
		}
		return
	}
	t.callouts++
	right := len(hits) == len(ref)
	for i := 0; right && i < len(ref); i++ {
		right = hits[i].Callout == ref[i].callout && sameValues(hits[i].Values, ref[i].values)
	}
	switch {
	case right:
		t.right++
		t.delays = append(t.delays, hits[len(hits)-1].DecidedS-s.end)
	case len(hits) == 0:
		t.missed++
		fmt.Fprintf(log, "%s %.1f s: missed %q\n", s.file, s.start, s.text)
	default:
		t.wrong++
		fmt.Fprintf(log, "%s %.1f s: %q taken for %s\n", s.file, s.start, s.text, show(hits))
	}
}

// show is results as the log of mistakes has them.
func show(hits []Heard) string {
	var out []string
	for _, h := range hits {
		out = append(out, fmt.Sprintf("%s %q (%.2f)", h.Callout, h.Text, h.Confidence))
	}
	return strings.Join(out, ", ")
}

func sameValues(a, b map[string]float64) bool {
	if len(a) != len(b) {
		return false
	}
	for k, v := range b {
		if a[k] != v {
			return false
		}
	}
	return true
}

// printTallies prints the recognisers side by side, condition by condition.
func printTallies(w io.Writer, list []Recogniser, results map[string]map[string]*tally) error {
	var names []string
	for k := range results[list[0].Name] {
		names = append(names, k)
	}
	sort.Strings(names)
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(
		tw,
		"condition\trecogniser\tcallouts\tright %\tmissed %\tasked about %\twrong %\tnear misses taken %\t"+
			"invented / h\twrong at the end\tdecided after end, s: median, 95th percentile, worst",
	)
	for _, k := range names {
		for _, c := range list {
			results[c.Name][k].print(tw, k, c.Name)
		}
	}
	return tw.Flush()
}

func (t *tally) print(w io.Writer, condition, name string) {
	pc := func(n, of int) string {
		if of == 0 {
			return "-"
		}
		return fmt.Sprintf("%.1f", 100*float64(n)/float64(of))
	}
	sort.Float64s(t.delays)
	delay := "-"
	if n := len(t.delays); n > 0 {
		delay = fmt.Sprintf("%.2f, %.2f, %.2f", t.delays[n/2], t.delays[n*95/100], t.delays[n-1])
	}
	fmt.Fprintf(
		w,
		"%s\t%s\t%d\t%s\t%s\t%s\t%s\t%s\t%.1f\t%d\t%s\n",
		condition,
		name,
		t.callouts,
		pc(t.right, t.callouts),
		pc(t.missed, t.callouts),
		pc(t.asked, t.callouts),
		pc(t.wrong, t.callouts),
		pc(t.nearTaken, t.near),
		float64(t.invented)/t.seconds*3600,
		t.standing,
		delay,
	)
}

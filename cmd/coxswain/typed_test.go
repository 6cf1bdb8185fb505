package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"coxswain/timeline"
	"coxswain/timeline/drill"
	"coxswain/timeline/record"
)

const typedRun = `# a good run, with one line that is no callout
0:08 start the code
0:14 compressions started
0:20 rhythm check
0:24 rhythm is v fib
0:27 shock delivered 200 joules
0:29 resume compressions
0:40 shock deliverd
2:26 rhythm check
2:29 rhythm is v fib
2:31 shock delivered 200 joules
2:33 resume compressions
2:50 epinephrine 1 milligram given
4:31 rhythm check
4:34 organized rhythm
4:40 we have a pulse
4:52 twelve lead done
`

// runDrill types a drill and returns its score, its record and what was printed.
func runDrill(t *testing.T, input string, args ...string) (findings []drill.Finding, events []timeline.Event, printed string) {
	t.Helper()
	var out, errs bytes.Buffer
	args = append([]string{"drill", "--typed", "--json", "--records", t.TempDir()}, args...)
	if code := Main(args, strings.NewReader(input), &out, &errs); code != 0 {
		t.Fatalf("exit %d: %s", code, errs.String())
	}
	var doc struct {
		Record   string
		Findings []drill.Finding
	}
	if err := json.Unmarshal(out.Bytes(), &doc); err != nil {
		t.Fatalf("%v: %s", err, out.String())
	}
	events, _, err := record.Read(doc.Record)
	if err != nil {
		t.Fatal(err)
	}
	return doc.Findings, events, errs.String()
}

func spoken(events []timeline.Event, cue string) bool {
	for _, e := range events {
		if e.Kind == timeline.CueSpoken && strings.HasPrefix(e.Cue, cue) {
			return true
		}
	}
	return false
}

// A drill by keyboard, without a sound device: the case is told, callouts are
// read back, what is no callout is refused, the record is scored.
func TestTypedDrill(t *testing.T) {
	findings, events, printed := runDrill(t, typedRun, "shockable")
	for _, f := range findings {
		if f.Points != f.Of {
			t.Errorf("%+v", f)
		}
	}
	for _, want := range []string{Caution, "case: The monitor shows fibrillation.", "coxswain: Epinephrine one milligram",
		`did you mean "shock delivered"?`} {
		if !strings.Contains(printed, want) {
			t.Errorf("no %q in:\n%s", want, printed)
		}
	}
	if !spoken(events, "epinephrine.first") {
		t.Error("what was due was not said")
	}
}

// With advice off nothing that is due is said or asked; read-backs, the case and
// the score stay.
func TestSilentDrill(t *testing.T) {
	input := strings.Replace(typedRun, "2:33 resume", "2:32 epinephrine 1 milligram given\n2:33 resume", 1)
	findings, events, _ := runDrill(t, input, "shockable", "--silent")
	for _, cue := range []string{"epinephrine", "cycle", "pause", "question", "rosc"} {
		if spoken(events, cue) {
			t.Errorf("%s was said", cue)
		}
	}
	if !spoken(events, "said.shock.given") || !spoken(events, "drill") {
		t.Error("no read-back, or no case")
	}
	for _, f := range findings {
		if strings.HasPrefix(f.Reason, "no contradiction") && f.Points == f.Of {
			t.Errorf("epinephrine twice in 18 s costs nothing: %+v", f)
		}
	}
}

// A case of one's own is run, and refused with file and line if it is not well
// formed; the one in the README is.
func TestOwnCase(t *testing.T) {
	b, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(b), "    title: Found in the corridor\n")
	text := "title: Found in the corridor\n"
	for line := range strings.Lines(rest) {
		if !strings.HasPrefix(line, "    ") {
			break
		}
		text += strings.TrimPrefix(line, "    ")
	}
	file := filepath.Join(t.TempDir(), "ours.yaml")
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	if code := Main([]string{"drill", "--check", file}, nil, &out, &errs); code != 0 {
		t.Fatalf("the README's case: %s", errs.String())
	}
	findings, events, _ := runDrill(t, "0:10 compressions started\n0:20 rhythm check\n0:25 rhythm is v fib\n0:28 shock delivered\n"+
		"0:30 resume compressions\n", "--case", file)
	if len(findings) < 4 || findings[0].Points != findings[0].Of || !spoken(events, "drill") {
		t.Errorf("%+v", findings)
	}
	if err := os.WriteFile(file, []byte(strings.Replace(text, "say:", "sya:", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"drill", "--check", file}, {"drill", "--case", file, "--typed"}} {
		errs.Reset()
		if code := Main(args, strings.NewReader(""), &out, &errs); code == 0 || !strings.Contains(errs.String(), "ours.yaml:") {
			t.Errorf("%v: exit %d: %s", args, code, errs.String())
		}
	}
}

// A case that is named twice, or not at all, is one line.
func TestDrillErrors(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"none"}, "choose one of child"},
		{[]string{"pea", "--case", "x.yaml"}, "two cases"},
		{[]string{"--case", "none.yaml"}, "no such file"},
		{[]string{"pea", "--protocol", "none"}, "aha-2025"},
		{[]string{"pea", "--from", "x.wav"}, "--record DIR"},
	} {
		var out, errs bytes.Buffer
		if code := Main(append([]string{"drill"}, c.args...), strings.NewReader(""), &out, &errs); code == 0 ||
			!strings.Contains(errs.String(), c.want) {
			t.Errorf("%v: exit %d: %s", c.args, code, errs.String())
		}
	}
}

// The folder that is named for the record is taken, also with a keyboard; one that
// holds a record is refused.
func TestTypedRecordFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "ours")
	for _, want := range []int{0, 1} {
		var out, errs bytes.Buffer
		args := []string{"drill", "shockable", "--typed", "--record", dir}
		if code := Main(args, strings.NewReader("0:08 start the code\n"), &out, &errs); code != want {
			t.Fatalf("exit %d, want %d: %s", code, want, errs.String())
		}
		if _, _, err := record.Read(dir); err != nil {
			t.Fatal(err)
		}
	}
}

// The clock of a drill never goes back, and whoever types an earlier time is told so.
func TestTypedTimeThatHasPassed(t *testing.T) {
	_, events, printed := runDrill(t,
		"0:08 start the code\n0:20 compressions started\n0:10 rhythm check\n0:20 resume compressions\n", "shockable")
	if !strings.Contains(printed, "0:10 has passed, the clock stands at 0:20") || strings.Count(printed, "has passed") != 1 {
		t.Error(printed)
	}
	last := timeline.Time(0)
	for _, e := range events {
		if e.Kind.IsCallout() {
			if e.At < last {
				t.Errorf("%s lies at %v, behind %v", e.Kind, e.At, last)
			}
			last = e.At
		}
	}
}

// A line that is far too long is told, and those behind it are read all the same.
func TestTypedLineTooLong(t *testing.T) {
	long := strings.Repeat("shock ", 20000)
	_, events, printed := runDrill(t, "0:08 start the code\n0:10 "+long+"\n0:14 compressions started\n", "shockable")
	compressing := slices.ContainsFunc(events, func(e timeline.Event) bool { return e.Kind == timeline.CompressionsStart })
	if !compressing || strings.Count(printed, "a line of more than 1000 characters") != 1 || len(printed) > 5000 {
		t.Errorf("compressing %v, %d characters printed", compressing, len(printed))
	}
}

// A word that only answers a question counts where one was asked: else it is asked about, or refused.
func TestTypedAnswerToNothing(t *testing.T) {
	shocks := func(input string) (n int, printed string) {
		_, events, printed := runDrill(t, input, "shockable")
		for _, e := range events {
			if e.Kind == timeline.ShockGiven {
				n++
			}
		}
		return n, printed
	}
	begins := "0:04 shocked\n0:08 start the code\n0:14 compressions started\n0:30 shocked\n"
	n, printed := shocks(begins)
	if n != 0 || strings.Count(printed, `"shocked" answers nothing that was asked`) != 1 || !strings.Contains(printed, "Yes?") {
		t.Errorf("%d shocks: %s", n, printed)
	}
	if n, printed = shocks(begins + "0:34 yes\n"); n != 1 {
		t.Errorf("%d shocks, and the question was answered: %s", n, printed)
	}
}

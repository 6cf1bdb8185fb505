// Package coxtest holds what tests of the whole program share: a recogniser that hears by
// the clock, and what they ask of a record.
package coxtest

import (
	"net"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"coxswain/intents"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// Part names the environment variable that makes a test binary play a part of the
// program: "ear" and "beat" are recognisers.
const Part = "COXSWAIN_TEST" + "_PART"

// TakePart takes the part out of the environment, since coxswain refuses variables that
// it does not know. A recogniser's it plays here, and does not come back.
func TakePart() string {
	part := os.Getenv(Part)
	os.Unsetenv(Part)
	if part != "ear" && part != "beat" {
		return part
	}
	hear := func(*intents.Vocabulary) (intents.Recogniser, error) { return scripted(part == "beat"), nil }
	if err := intents.Serve("scripted", hear, os.Stdin, os.Stdout); err != nil {
		os.Exit(1)
	}
	os.Exit(0)
	return ""
}

// scripted hears "iv access" every two seconds or, for the beat alone, that a code and
// its compressions start, and nothing else.
func scripted(beat bool) *intents.Scripted {
	s := &intents.Scripted{}
	hear := func(id, text string, second int64) {
		end := second * intents.Rate
		s.Results = append(s.Results,
			intents.Result{Callout: id, Text: text, Confidence: 1, Start: end - 8000, End: end, Decided: end + 3200})
	}
	if beat {
		hear("code.start", "start the code", 2)
		hear("compressions.start", "compressions started", 4)
		return s
	}
	for k := int64(1); k < 1000; k++ {
		hear("access.iv", "iv access", 2*k)
	}
	return s
}

// Recogniser is the command of this test binary's recogniser that hears by the clock:
// "ear" or "beat".
func Recogniser(t testing.TB, part string) string {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	return "env " + Part + "=" + part + " " + self
}

// Render speaks a scene file, from the module's root, into a WAV file.
func Render(t testing.TB, scene, wav string) {
	t.Helper()
	root, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}").Output()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("go", "run", "./cmd/scene", scene, wav)
	cmd.Dir = strings.TrimSpace(string(root))
	if b, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("scene: %v: %s", err, b)
	}
}

// Whole returns the events and the samples of sound of a record that passes
// verification.
func Whole(dir string) ([]timeline.Event, int64, error) {
	r, err := record.Open(dir)
	if err != nil {
		return nil, 0, err
	}
	p, err := r.Verify()
	return r.Events, p.Samples, err
}

// Count counts the events of a kind that say the words.
func Count(events []timeline.Event, kind timeline.Kind, words string) int {
	n := 0
	for _, e := range events {
		if e.Kind == kind && strings.Contains(e.Describe(), words) {
			n++
		}
	}
	return n
}

// Differ counts what is wanted and was not heard, and returns what was heard and not
// wanted.
func Differ(t testing.TB, want, got []string) (missed int, left []string) {
	t.Helper()
	left = slices.Clone(got)
	for _, w := range want {
		if at := slices.Index(left, w); at >= 0 {
			left = slices.Delete(left, at, at+1)
		} else {
			missed++
			t.Logf("missed: %s", w)
		}
	}
	return missed, left
}

// FreeAddress is a loopback address that nobody listens on.
func FreeAddress(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().String()
}

package prompts

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// Every sentence that the timeline names in its text is one, or begins one: what a walk by chance does
// not come to would be answered with "Copied".
func TestNamedSentencesAreThere(t *testing.T) {
	b, err := os.ReadFile("cues.yaml")
	if err != nil {
		t.Fatal(err)
	}
	f, err := parseCues("cues.yaml", b)
	if err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob("../timeline/*.go")
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile(`(?:reply\(|due\(|ID: |\.ID = )"([a-z_]+\.[a-z_.]*[a-z_])"`)
	n := 0
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if strings.HasSuffix(file, "_test.go") {
			continue
		}
		for _, m := range named.FindAllStringSubmatch(string(text), -1) {
			n++
			there := f.Cues[m[1]] != ""
			for id := range f.Cues {
				there = there || strings.HasPrefix(id, m[1]+".")
			}
			if !there {
				t.Errorf("%s names %q: no sentence of cues.yaml", filepath.Base(file), m[1])
			}
		}
	}
	if n < 80 {
		t.Errorf("only %d names were found", n)
	}
}

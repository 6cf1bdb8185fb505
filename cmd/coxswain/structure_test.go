package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"
)

// source is a Go file of the module.
type source struct {
	path  string // from the module's root
	file  *ast.File
	set   *token.FileSet
	lines []string
}

// sources parses every Go file of the module.
func sources(t *testing.T) (all []source) {
	t.Helper()
	root := os.DirFS("../..")
	err := fs.WalkDir(root, ".", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() && (p == "build" || p != "." && strings.HasPrefix(d.Name(), ".")) {
			return fs.SkipDir
		}
		if path.Ext(p) != ".go" {
			return nil
		}
		b, err := fs.ReadFile(root, p)
		if err != nil {
			return err
		}
		set := token.NewFileSet()
		f, err := parser.ParseFile(set, p, b, parser.SkipObjectResolution)
		all = append(all, source{p, f, set, strings.Split(strings.TrimSuffix(string(b), "\n"), "\n")})
		return err
	})
	if err != nil || len(all) < 50 {
		t.Fatalf("%d files: %v", len(all), err)
	}
	return all
}

func (s source) test() bool { return strings.HasSuffix(s.path, "_test.go") }

// allowed says what of ours each room may import, by the beginning of the
// import path, the longest entry that fits a package first. Data flows one way:
// audio, intents, timeline, prompts, audio; cmd wires.
var allowed = map[string][]string{
	"audio":           {},
	"audio/":          {"audio"},
	"intents":         {"audio"},
	"intents/":        {"audio", "intents"},
	"timeline":        {},
	"timeline/":       {"timeline"},
	"timeline/record": {"timeline", "audio"}, // the one place where journal and sound meet
	"prompts":         {"audio", "timeline"},
	"cmd/":            {"audio", "intents", "timeline", "prompts", "cmd/coxswain/"},
}

// Every package imports only what lies before it in the flow of data.
func TestDataFlowsOneWay(t *testing.T) {
	for _, s := range sources(t) {
		if s.test() {
			continue
		}
		pkg, rule := path.Dir(s.path), ""
		for r := range allowed {
			if (pkg == r || strings.HasSuffix(r, "/") && strings.HasPrefix(pkg, r)) && len(r) > len(rule) {
				rule = r
			}
		}
		if rule == "" && pkg != "timeline/review/parquettest" {
			t.Errorf("%s: no rule says what package %s may import", s.path, pkg)
		}
		for _, i := range s.file.Imports {
			ours, is := strings.CutPrefix(strings.Trim(i.Path.Value, `"`), "coxswain/")
			if is && !mayImport(allowed[rule], ours) {
				t.Errorf("%s imports %s: package %s may import %q of ours", s.path, ours, pkg, allowed[rule])
			}
		}
	}
}

func mayImport(allowed []string, ours string) bool {
	for _, a := range allowed {
		if ours == a || strings.HasPrefix(ours, strings.TrimSuffix(a, "/")+"/") {
			return true
		}
	}
	return false
}

// Nothing grows beyond what can be read at once. Tests may have longer lines, and
// as many branches as there are ways to fail.
func TestSizes(t *testing.T) {
	const (
		fileLines, funcLines, branches = 399, 59, 14
		columns, columnsOfTests        = 120, 140
		share, mainLines               = 0.25, 1499
	)
	all, byPackage := 0, map[string]int{}
	for _, s := range sources(t) {
		if len(s.lines) > fileLines {
			t.Errorf("%s: %d lines, want at most %d", s.path, len(s.lines), fileLines)
		}
		widest := columnsOfTests
		if !s.test() {
			widest = columns
			all += len(s.lines)
			byPackage[path.Dir(s.path)] += len(s.lines)
		}
		for i, l := range s.lines {
			if n := utf8.RuneCountInString(l); n > widest {
				t.Errorf("%s:%d: %d characters, want at most %d", s.path, i+1, n, widest)
			}
		}
		for _, d := range s.file.Decls {
			f, ok := d.(*ast.FuncDecl)
			if !ok {
				continue
			}
			if n := s.set.Position(f.End()).Line - s.set.Position(f.Pos()).Line + 1; n > funcLines {
				t.Errorf("%s: %s has %d lines, want at most %d", s.path, f.Name, n, funcLines)
			}
			if n := cyclomatic(f); n > branches && !s.test() {
				t.Errorf("%s: %s has a cyclomatic complexity of %d, want at most %d", s.path, f.Name, n, branches)
			}
		}
	}
	for pkg, n := range byPackage {
		if float64(n) > share*float64(all) {
			t.Errorf("package %s has %d of %d lines, more than %.0f %%", pkg, n, all, 100*share)
		}
	}
	if n := byPackage["cmd/coxswain"]; n > mainLines {
		t.Errorf("package main of cmd/coxswain has %d lines, want at most %d: it only wires", n, mainLines)
	}
}

// cyclomatic is McCabe's number of a function (IEEE Transactions on Software
// Engineering SE-2(4), 1976): its decisions and one.
func cyclomatic(f *ast.FuncDecl) int {
	n := 1
	ast.Inspect(f, func(x ast.Node) bool {
		switch x := x.(type) {
		case *ast.IfStmt, *ast.ForStmt, *ast.RangeStmt:
			n++
		case *ast.CaseClause:
			if x.List != nil {
				n++
			}
		case *ast.CommClause:
			if x.Comm != nil {
				n++
			}
		case *ast.BinaryExpr:
			if x.Op == token.LAND || x.Op == token.LOR {
				n++
			}
		}
		return true
	})
	return n
}

// Every package that starts goroutines is tested for races by `make test`;
// package main starts its own only to wait for a signal or a page.
func TestGoroutinesAreRaced(t *testing.T) {
	makefile, err := os.ReadFile("../../Makefile")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(makefile), "\nRACE := ")
	raced, _, _ := strings.Cut(rest, "\n")
	for _, s := range sources(t) {
		if s.test() || s.file.Name.Name == "main" {
			continue
		}
		ast.Inspect(s.file, func(x ast.Node) bool {
			if _, ok := x.(*ast.GoStmt); ok && !strings.Contains(raced+" ", "./"+path.Dir(s.path)+" ") {
				t.Errorf("%s starts a goroutine: name its package at RACE in the Makefile", s.set.Position(x.Pos()))
			}
			return true
		})
	}
}

// The top level is what it was agreed to be.
func TestTopLevel(t *testing.T) {
	want := " cmd audio intents timeline prompts testdata go.mod go.sum README.md DEVELOPERS.md LICENSE Makefile build "
	found, err := filepath.Glob("../../*")
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range found {
		if n := filepath.Base(f); !strings.HasPrefix(n, ".") && !strings.Contains(want, fmt.Sprintf(" %s ", n)) {
			t.Errorf("%s does not belong to the top level", n)
		}
	}
}

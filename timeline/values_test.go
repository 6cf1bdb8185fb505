package timeline

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// reads returns the names that the code under dir asks protocol values and
// rules by: asked through their readers, and mentioned in any way.
func reads(t *testing.T, dir string) (asked, mentioned map[string]bool) {
	t.Helper()
	asked, mentioned = map[string]bool{}, map[string]bool{}
	note := func(in map[string]bool, e ast.Expr) {
		if lit, ok := e.(*ast.BasicLit); ok && lit.Kind == token.STRING {
			if s, err := strconv.Unquote(lit.Value); err == nil {
				in[s] = true
			}
		}
	}
	look := func(n ast.Node) bool {
		switch x := n.(type) {
		case *ast.CallExpr:
			name := ""
			switch f := x.Fun.(type) {
			case *ast.SelectorExpr:
				name = f.Sel.Name
			case *ast.Ident:
				name = f.Name
			}
			for _, arg := range x.Args {
				note(mentioned, arg)
				if name == "Get" || name == "Span" || name == "Spoken" || name == "rule" {
					note(asked, arg)
				}
			}
		case *ast.IndexExpr: // p.Values["cold_c"]
			note(mentioned, x.Index)
		}
		return true
	}
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err == nil {
			ast.Inspect(file, look)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return asked, mentioned
}

// Every value of a protocol is read somewhere, and whatever is read is one: a
// value that nobody reads is no value, and one that no protocol gives would
// silently be 0.
func TestEveryValueIsRead(t *testing.T) {
	known := map[string]bool{}
	for name := range bounds {
		known[name] = true
	}
	for name := range rules {
		known[name] = true
	}
	_, mentioned := reads(t, "..")
	for name := range known {
		if !mentioned[name] {
			t.Errorf("nobody reads %s", name)
		}
	}
	asked, _ := reads(t, ".")
	for name := range asked {
		if !known[name] {
			t.Errorf("%s is asked for and is no value", name)
		}
	}
	if len(asked) < 20 {
		t.Errorf("only %d names were found: the readers have other names", len(asked))
	}
}

// The numbers that no protocol may change each have a source and a status.
func TestRulesHaveSources(t *testing.T) {
	for name, v := range rules {
		if !(v.Value > 0) || v.Source == "" || v.Status == "" || v.Unit == "" {
			t.Errorf("%s: %+v", name, v)
		}
		if _, both := bounds[name]; both {
			t.Errorf("%s is a rule and a protocol's value", name)
		}
	}
	for _, bad := range []string{"systems: {}\nkinds:\n  x: {lane: top}\n",
		"kinds:\n  x: {code: {system: none, code: a, text: b, status: seen}}\n",
		"kinds:\n  x: {fast: true}\n", "kinds:\n  x: {own: true, starts: true}\n", "kinds:\n  x: {laen: other}\n"} {
		if _, err := parseKinds("kinds.yaml", []byte(bad)); err == nil || !strings.HasPrefix(err.Error(), "kinds.yaml:") {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

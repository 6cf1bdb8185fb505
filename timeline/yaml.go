package timeline

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"unicode"

	"go.yaml.in/yaml/v3"
)

// DecodeStrict decodes one YAML document into v; keys that v does not have are
// refused. The error is one line that names file and line.
func DecodeStrict(name string, text []byte, v any) error {
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(v); errors.Is(err, io.EOF) {
		return fmt.Errorf("%s:1: the file is empty", name)
	} else if err != nil {
		return yamlError(name, err)
	}
	return steersNothing(name, text)
}

// How the library says that a key is none, or that a value is of another type.
var (
	unknownKey = regexp.MustCompile(`field (.*) not found in type .*`)
	otherType  = regexp.MustCompile("cannot unmarshal !!([a-z]+)(?: `(.*)`)? into (.*)")
)

// plainYAML puts what the YAML library complains of into words without Go's types, of
// which nobody wants to read.
func plainYAML(s string) string {
	s = unknownKey.ReplaceAllString(s, `unknown key "$1"`)
	m := otherType.FindStringSubmatch(s)
	if m == nil {
		return s
	}
	got := map[string]string{"seq": "a list", "map": "keys with values", "null": "nothing"}[m[1]]
	if m[2] != "" {
		got = strconv.Quote(m[2])
	}
	return strings.Replace(s, m[0], or(got, "a value")+" stands where "+wanted(m[3])+" belongs", 1)
}

// wanted names what a Go type takes.
func wanted(goType string) string {
	switch goType = strings.TrimLeft(goType, "*"); {
	case strings.HasPrefix(goType, "float"), strings.HasPrefix(goType, "int"), strings.HasPrefix(goType, "uint"):
		return "a number"
	case strings.HasPrefix(goType, "[]"):
		return "a list"
	case goType == "string":
		return "a text"
	case goType == "bool":
		return "true or false"
	}
	return "a group of keys with values"
}

// steersNothing refuses texts with characters that could steer a terminal on which they
// are printed: only an escape or such a character itself can bring one.
func steersNothing(name string, text []byte) error {
	steers := func(c rune) bool { return c != '\n' && c != '\t' && c != '\r' && !unicode.IsPrint(c) }
	if !bytes.ContainsRune(text, '\\') && !bytes.ContainsFunc(text, steers) {
		return nil
	}
	var root yaml.Node
	if err := yaml.Unmarshal(text, &root); err != nil {
		return yamlError(name, err)
	}
	nodes := []*yaml.Node{&root}
	for len(nodes) > 0 {
		n := nodes[len(nodes)-1]
		nodes = append(nodes[:len(nodes)-1], n.Content...)
		if strings.ContainsFunc(n.Value, steers) {
			return fmt.Errorf("%s:%d: %q has a control character: write plain text", name, n.Line, n.Value)
		}
	}
	return nil
}

// yamlError makes one line of a library's error: file, line, what.
func yamlError(name string, err error) error {
	s := strings.TrimPrefix(err.Error(), "yaml: ")
	s = strings.TrimPrefix(s, "unmarshal errors:\n  ")
	s = plainYAML(strings.SplitN(s, "\n", 2)[0])
	if rest, ok := strings.CutPrefix(s, "line "); ok {
		return fmt.Errorf("%s:%s", name, rest)
	}
	return fmt.Errorf("%s: %s", name, s)
}

// keysOf returns the keys of the mapping under parent, in the file's order.
func keysOf(text []byte, parent string) ([]*yaml.Node, error) {
	var root yaml.Node
	if err := yaml.Unmarshal(text, &root); err != nil {
		return nil, err
	}
	if len(root.Content) == 0 {
		return nil, nil
	}
	var out []*yaml.Node
	top := root.Content[0].Content
	for i := 0; i+1 < len(top); i += 2 {
		if top[i].Value == parent {
			for k := 0; k+1 < len(top[i+1].Content); k += 2 {
				out = append(out, top[i+1].Content[k])
			}
		}
	}
	return out, nil
}

package intents

import (
	"encoding/json"
	"fmt"
	"slices"

	"go.yaml.in/yaml/v3"
)

// Either is callouts of which only one can be so: two of them in one breath are asked about.
type Either struct {
	Callouts []string
	line     int
}

// UnmarshalYAML keeps the line for errors.
func (e *Either) UnmarshalYAML(n *yaml.Node) error {
	e.line = n.Line
	return n.Decode(&e.Callouts)
}

// MarshalJSON shows the callouts alone.
func (e Either) MarshalJSON() ([]byte, error) { return json.Marshal(e.Callouts) }

// UnmarshalJSON reads what MarshalJSON wrote.
func (e *Either) UnmarshalJSON(b []byte) error { return json.Unmarshal(b, &e.Callouts) }

// Excludes reports whether only one of two callouts can be so.
func (v *Vocabulary) Excludes(a, b string) bool {
	return a != b && slices.ContainsFunc(v.Either, func(e Either) bool {
		return slices.Contains(e.Callouts, a) && slices.Contains(e.Callouts, b)
	})
}

// ExcludesAny reports whether a callout is one of which only one can be so.
func (v *Vocabulary) ExcludesAny(id string) bool {
	return slices.ContainsFunc(v.Either, func(e Either) bool { return slices.Contains(e.Callouts, id) })
}

// checkEither finds a list of a file that excludes nothing, or a callout that is none.
func (v *Vocabulary) checkEither(name string, lists []Either) error {
	for _, e := range lists {
		if len(e.Callouts) < 2 {
			return fmt.Errorf("%s:%d: either: want two callouts or more, have %d", name, e.line, len(e.Callouts))
		}
		for _, id := range e.Callouts {
			if v.find(id) == nil {
				return fmt.Errorf("%s:%d: either: unknown callout %q: see `coxswain callouts` for the ids", name, e.line, id)
			}
		}
	}
	return nil
}

package config

import (
	"bytes"
	"fmt"

	"go.yaml.in/yaml/v3"

	"coxswain/audio/recorder"
)

// maxFile bounds a file of settings.
const maxFile = 1 << 20

// ReadYAML reads a file that people write: a regular one, since a pipe may never
// end, of 1 MB at most, with one YAML document, since a second one would be
// ignored. An error names the file, and the line of a second document. What is no
// YAML at all is left to whoever parses it.
func ReadYAML(path string) ([]byte, error) {
	b, err := recorder.ReadNamed(path, maxFile)
	if err != nil {
		return nil, err
	}
	if line := second(b); line > 0 {
		return nil, fmt.Errorf("%s:%d: a second document begins here (behind a line of three dashes): "+
			"put all into one, or take the dashes away", path, line)
	}
	return b, nil
}

// second is the line of a second document that says something; 0: there is none.
func second(b []byte) int {
	d := yaml.NewDecoder(bytes.NewReader(b))
	for n := 0; ; n++ {
		var doc yaml.Node
		if err := d.Decode(&doc); err != nil {
			return 0
		}
		if n > 0 && len(doc.Content) > 0 && doc.Content[0].ShortTag() != "!!null" {
			return doc.Content[0].Line
		}
	}
}

package rig

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"coxswain/intents"
)

// commandOf is the command line of a recogniser.
func commandOf(name string) ([]string, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	switch strings.TrimSpace(name) {
	case "builtin":
		return []string{self, "ear"}, nil
	case "pocketsphinx":
		return []string{filepath.Join(filepath.Dir(self), "coxswain-pocketsphinx")}, nil
	case "":
		return nil, fmt.Errorf("recogniser is empty: choose builtin, pocketsphinx or a command")
	default:
		return strings.Fields(name), nil
	}
}

// StartPlugIn starts a recogniser, by its name or command line, as a process.
func StartPlugIn(name string, o intents.ProcessOptions) (*intents.Process, error) {
	var err error
	if o.Command, err = commandOf(name); err != nil {
		return nil, err
	}
	return intents.NewProcess(o)
}

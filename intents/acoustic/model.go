package acoustic

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"strings"
	"sync"
)

// What was trained: the nets (intents/train/net.py), the callouts that they were
// taught as wholes, callout and phrase a line, the callouts in the order of the
// nets' numbers from 1 (train.py), and the judges (judge.py).
//
//go:embed callouts.tsv calibration.json
var embedded embed.FS

// The nets are never copied: they are heard with as they lie in the program's own file.
var (
	//go:embed net1.bin
	net1 string
	//go:embed net2.bin
	net2 string
)

var (
	modelFiles fs.FS = embedded
	netFiles         = func() ([]string, error) { return []string{net1, net2}, nil }
)

// Use hears with the model files in dir instead of the built-in ones, to measure
// a model before it is shipped. It must come before the first New.
func Use(dir fs.FS) {
	modelFiles = dir
	netFiles = func() (out []string, err error) {
		names, err := fs.Glob(dir, "net*.bin")
		for _, name := range names {
			b, err := fs.ReadFile(dir, name)
			if err != nil {
				return nil, err
			}
			out = append(out, string(b))
		}
		return out, err
	}
}

// model is all that was trained. It is shared by all streams of a process.
type model struct {
	nets   []*weights
	taught map[[2]string]int // callout and phrase: the nets' number for the callout
	phones judge             // for phrases that the nets were not taught
	both   judge             // with their opinion of the whole
}

var shared = sync.OnceValues(func() (*model, error) {
	m := &model{taught: map[[2]string]int{}}
	files, err := netFiles()
	if err == nil && len(files) == 0 {
		err = fmt.Errorf("acoustic model: no net*.bin")
	}
	if err != nil {
		return nil, err
	}
	for i, file := range files {
		w, err := loadWeights(file)
		if err != nil {
			return nil, fmt.Errorf("net %d: %w", i+1, err)
		}
		m.nets = append(m.nets, w)
	}
	if err := m.readTaught(); err != nil {
		return nil, err
	}
	return m, m.readJudges()
})

func (m *model) readTaught() error {
	b, err := fs.ReadFile(modelFiles, "callouts.tsv")
	if err != nil {
		return err
	}
	n, last := 0, ""
	for line := range strings.Lines(string(b)) {
		id, phrase, _ := strings.Cut(strings.TrimSpace(line), "\t")
		if id != last {
			n, last = n+1, id
		}
		m.taught[[2]string{id, phrase}] = n
	}
	return nil
}

func (m *model) readJudges() error {
	b, err := fs.ReadFile(modelFiles, "calibration.json")
	if err != nil {
		return err
	}
	var file struct {
		Phones judge `json:"phones"`
		Both   judge `json:"both"`
	}
	if err := json.Unmarshal(b, &file); err != nil {
		return fmt.Errorf("calibration.json: %w", err)
	}
	m.phones, m.both = file.Phones, file.Both
	if !m.phones.fits(features-opinions) || !m.both.fits(features) {
		return fmt.Errorf("calibration.json: its judges do not fit the evidence")
	}
	return nil
}

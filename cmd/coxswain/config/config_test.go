package config

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"syscall"
	"testing"

	"github.com/spf13/pflag"
)

// load loads a file's text, variables and flags.
func load(t *testing.T, text string, environ []string, args ...string) (*Config, error) {
	t.Helper()
	f := pflag.NewFlagSet("test", pflag.ContinueOnError)
	Flags(f, Keys()...)
	if text != "" {
		path := filepath.Join(t.TempDir(), "c.yaml")
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		args = append(args, "--config", path)
	}
	if err := f.Parse(args); err != nil {
		return nil, FlagError("coxswain test", err)
	}
	return Load(f, environ)
}

// A value of the wrong type, out of bounds or of no setting is refused where it
// stands, with what would be right.
func TestRefused(t *testing.T) {
	for _, c := range []struct {
		file string
		env  string
		args string
		want []string
	}{
		{file: "rate: 105\nvolume: loud\n", want: []string{"c.yaml:2", `volume is "loud"`, "0 to 1"}},
		{file: `volume: "0,8"`, want: []string{"c.yaml:1", `volume is "0,8"`}},
		{file: `volume: "0.8"`, want: []string{"c.yaml:1", `volume is "0.8"`}},
		{file: "volume: .nan", want: []string{"c.yaml:1", "volume is NaN"}},
		{file: "volume: .inf", want: []string{"c.yaml:1", "volume is +Inf"}},
		{file: "volume: -.inf", want: []string{"c.yaml:1", "volume is -Inf"}},
		{file: "volume: [1]", want: []string{"c.yaml:1", "volume is a list"}},
		{file: "# echo\n\ncancel_echo: yes\n", want: []string{"c.yaml:3", `cancel_echo is "yes"`, "true or false"}},
		{file: "cancel_echo: 1", want: []string{"c.yaml:1", `cancel_echo is "1"`}},
		{file: "resume_minutes: ten", want: []string{"c.yaml:1", `resume_minutes is "ten"`, "whole number"}},
		{file: "rate: 110.9", want: []string{"c.yaml:1", `rate is "110.9"`, "whole number"}},
		{file: "rate: 1e2", want: []string{"c.yaml:1", "rate is"}},
		{file: "rate: 10", want: []string{"c.yaml:1", "rate is 10", "60 to 200"}},
		{file: "mode: fast", want: []string{"c.yaml:1", "mode is fast", "auto, ratio or continuous"}},
		{file: "mode: {a: 1}", want: []string{"c.yaml:1", "mode is a group"}},
		{file: "vocabulary: [a.yaml, 3]", want: []string{"c.yaml:1", `vocabulary is "3"`}},
		{file: "ratte: 100", want: []string{"c.yaml:1", `unknown key "ratte"`}},
		{file: "rate: 100\nrate: 110", want: []string{"c.yaml:2", "twice"}},
		{file: "rate: 100\n---\nrate: 110\n", want: []string{"c.yaml:3", "second document"}},
		{file: "- rate", want: []string{"c.yaml:1", "rate: 110"}},
		{file: "rate: [", want: []string{"c.yaml"}},
		{file: "http: 0.0.0.0:7470", want: []string{"http_token", "16"}},
		{env: "COXSWAIN_RATE=110.9", want: []string{"COXSWAIN_RATE", `rate is "110.9"`}},
		{env: "COXSWAIN_VOLUME=NaN", want: []string{"COXSWAIN_VOLUME", "volume is NaN"}},
		{env: "COXSWAIN_RATTE=1", want: []string{"unknown variable COXSWAIN_RATTE"}},
		{args: "--rate ten", want: []string{`--rate is "ten"`, "whole number"}},
		{args: "--volume Inf", want: []string{"--volume", "volume is +Inf"}},
		{args: "--mode fast", want: []string{"--mode", "auto, ratio or continuous"}},
		{args: "--nothing", want: []string{"no flag --nothing", "--help"}},
		{args: "--config /dev/zero", want: []string{"/dev/zero", "name a file"}},
		{args: "--config /", want: []string{"/: is a folder"}},
		{args: "--config /none.yaml", want: []string{"no such file"}},
	} {
		var environ []string
		if c.env != "" {
			environ = []string{c.env}
		}
		_, err := load(t, c.file, environ, strings.Fields(c.args)...)
		for _, w := range c.want {
			if err == nil || !strings.Contains(err.Error(), w) || strings.Contains(err.Error(), "\n") {
				t.Errorf("%q %s %s: %v, want one line with %q", c.file, c.env, c.args, err, w)
			}
		}
	}
}

// Flag, then environment, then file, then default.
func TestPrecedence(t *testing.T) {
	const file = "rate: 101\nvolume: 1\nmode: ratio\nprotocol_overlay: [a.yaml, b.yaml]\nvocabulary: c.yaml\n"
	c, err := load(t, file, []string{"HOME=/x", "COXSWAIN_RATE=102", "COXSWAIN_MODE=continuous"}, "--rate", "103")
	if err != nil {
		t.Fatal(err)
	}
	if c.Rate != 103 || c.Mode != "continuous" || c.Volume != 1 || c.Waveform != "biphasic" || !c.CancelEcho {
		t.Errorf("%+v", c)
	}
	if !reflect.DeepEqual(c.Overlays, []string{"a.yaml", "b.yaml"}) ||
		!reflect.DeepEqual(c.Vocabulary, []string{"c.yaml"}) {
		t.Errorf("lists: %v %v", c.Overlays, c.Vocabulary)
	}
	if _, err := load(t, "# nothing\n", nil); err != nil {
		t.Error(err)
	}
}

// A file that may be missing is read when it is there.
func TestOptionalFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "c.yaml")
	if c, err := load(t, "", nil, "--config=-"+path); err != nil || c.Rate != 110 {
		t.Errorf("a missing file that may be missing: %v", err)
	}
	if _, err := load(t, "", nil, "--config="+path); err == nil {
		t.Error("a missing file that was named is not missed")
	}
	if err := os.WriteFile(path, []byte("rate: 104\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if c, err := load(t, "", nil, "--config=-"+path); err != nil || c.Rate != 104 {
		t.Errorf("a file that may be missing and is there: %v", err)
	}
	if err := os.WriteFile(path, []byte("rate: loud\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := load(t, "", nil, "--config=-"+path); err == nil {
		t.Error("a wrong file that may be missing is taken")
	}
}

// Every field has its setting and every setting its field, of one type.
func TestSettingsFillTheStruct(t *testing.T) {
	fields := map[string]reflect.Type{}
	var walk func(reflect.Type)
	walk = func(s reflect.Type) {
		for i := range s.NumField() {
			f := s.Field(i)
			if tag := f.Tag.Get("mapstructure"); tag == ",squash" {
				walk(f.Type)
			} else if f.IsExported() {
				fields[tag] = f.Type
			}
		}
	}
	walk(reflect.TypeFor[Config]())
	for _, s := range settings {
		if fields[s.key] != reflect.TypeOf(s.def) {
			t.Errorf("%s: default of type %T, field of type %v", s.key, s.def, fields[s.key])
		}
		delete(fields, s.key)
		if err := s.check(s.def); err != nil {
			t.Errorf("default: %v", err)
		}
		if strings.Count(s.usage, "`") != 2 && s.def != false && s.def != true {
			t.Errorf("%s: --help does not say what to write", s.key)
		}
	}
	if len(fields) > 0 {
		t.Errorf("fields without a setting: %v", fields)
	}
}

// The token never appears where settings are printed.
func TestTokenIsNotShown(t *testing.T) {
	c, err := load(t, "", []string{"COXSWAIN_HTTP_TOKEN=sixteen-letters-"})
	if err != nil || c.Token != "sixteen-letters-" {
		t.Fatal(c, err)
	}
	for _, l := range c.Lines() {
		if s, ok := l.Value.(string); ok && strings.Contains(s, "sixteen") {
			t.Errorf("%+v", l)
		}
	}
}

// Whatever a file holds, it is loaded or refused in a line.
func FuzzFile(f *testing.F) {
	for _, s := range []string{"rate: 110", "volume: .nan", "a: &x [*x]", "rate: *r", "? [a]\n: b", "mode: !!binary aGk="} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		path := filepath.Join(t.TempDir(), "c.yaml")
		os.WriteFile(path, []byte(text), 0o600)
		readFile(path)
	})
}

// A device that holds more is heard by later; what was set stands.
func TestLoopDelayFollowsTheBuffer(t *testing.T) {
	for _, x := range []struct{ loop, buffer, want int }{{20, 20, 20}, {20, 100, 50}, {20, 200, 100}, {45, 200, 45}, {300, 20, 300}} {
		c := Config{}
		c.LoopDelayMs, c.BufferMs = x.loop, x.buffer
		if got := int(c.LoopDelay().Milliseconds()); got != x.want {
			t.Errorf("loop_delay_ms %d with buffer_ms %d counts as %d, want %d", x.loop, x.buffer, got, x.want)
		}
	}
}

// What is no file is refused at once: a pipe without a writer would hang, a device
// may never end. Of an overlay no second document is lost.
func TestFilesOnly(t *testing.T) {
	pipe := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Skip("no named pipes here:", err)
	}
	two := filepath.Join(t.TempDir(), "two.yaml")
	if err := os.WriteFile(two, []byte("values: {}\n---\nvalues:\n  cycle_s: {value: 90}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{pipe: "name a file", "/dev/zero": "name a file", t.TempDir(): "name a file",
		two: "two.yaml:3: a second document"} {
		if _, err := load(t, "", nil, "--config", path); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("configuration %s: %v, want %q", path, err, want)
		}
		if _, err := (Guideline{Protocol: "aha-2025", Waveform: "biphasic", Overlays: []string{path}}).Load(); err == nil ||
			!strings.Contains(err.Error(), want) {
			t.Errorf("overlay %s: %v, want %q", path, err, want)
		}
	}
	if _, err := load(t, "rate: 100\n---\n", nil); err != nil {
		t.Errorf("a document that ends with dashes: %v", err)
	}
}

// A file that is not there is one line that says so and what to do, and no word of the operating system's.
func TestOneLine(t *testing.T) {
	_, missing := os.Stat("/nowhere/x.wav")
	_, unnamed := os.Open("")
	for err, want := range map[error]string{
		missing:                               "/nowhere/x.wav: no such file: is its name right?",
		fmt.Errorf("--to: %w", unnamed):       "--to: no file is named: give its path",
		errors.New("two\nlines\n"):            "two; lines",
		fmt.Errorf("voice: %w", os.ErrClosed): "voice: file already closed",
	} {
		if got := OneLine(err); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}

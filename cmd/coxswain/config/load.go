package config

import (
	"errors"
	"fmt"
	"os"
	"regexp"
	"strconv"
	"strings"

	"github.com/spf13/pflag"
	"github.com/spf13/viper"
	"go.yaml.in/yaml/v3"

	"coxswain/timeline"
)

// Load fills a configuration from the flags of a command, its environment
// ("NAME=value" lines) and the file that --config names, and checks it. A file
// whose name begins with "-" may be missing, as in the units of systemd.
func Load(flags *pflag.FlagSet, environ []string) (*Config, error) {
	v := viper.New()
	for _, s := range settings {
		v.SetDefault(s.key, s.def)
	}
	if f := flags.Lookup("config"); f != nil && f.Value.String() != "" {
		path, optional := strings.CutPrefix(f.Value.String(), "-")
		file, err := readFile(path)
		if optional && errors.Is(err, os.ErrNotExist) {
			file, err = nil, nil
		}
		if err != nil {
			return nil, err
		}
		if err := v.MergeConfigMap(file); err != nil {
			return nil, fmt.Errorf("configuration %s: %w", f.Value, err)
		}
	}
	env, err := readEnvironment(environ)
	if err != nil {
		return nil, err
	}
	if err := v.MergeConfigMap(env); err != nil {
		return nil, fmt.Errorf("environment: %w", err)
	}
	if err := bind(v, flags); err != nil {
		return nil, err
	}
	var c Config
	if err := v.UnmarshalExact(&c); err != nil {
		return nil, fmt.Errorf("configuration: %w", err)
	}
	c.values = v.AllSettings()
	return &c, c.together()
}

// FlagError puts what is wrong with a command line into one line that says
// what would be right.
func FlagError(cmd string, err error) error {
	var bad *pflag.InvalidValueError
	var unknown *pflag.NotExistError
	var bare *pflag.ValueRequiredError
	switch {
	case errors.As(err, &bad):
		f := bad.GetFlag()
		if s, ok := settingOf(strings.ReplaceAll(f.Name, "-", "_")); ok {
			return fmt.Errorf("--%s is %q: %s", f.Name, bad.GetValue(), s.want())
		}
		return fmt.Errorf("--%s is %q: want %s; see %s --help", f.Name, bad.GetValue(), kindOf(f.Value.Type()), cmd)
	case errors.As(err, &unknown):
		return fmt.Errorf("there is no flag --%s: see %s --help", unknown.GetSpecifiedName(), cmd)
	case errors.As(err, &bare):
		return fmt.Errorf("--%s needs a value: see %s --help", bare.GetSpecifiedName(), cmd)
	}
	return err
}

// kindOf says what a flag of a type takes.
func kindOf(flagType string) string {
	switch flagType {
	case "int", "uint64":
		return "a whole number"
	case "float64":
		return "a number"
	case "duration":
		return "a time such as 90m or 26h"
	case "bool":
		return "true or false"
	}
	return "another value"
}

// bind lays the flags that were given over everything else.
func bind(v *viper.Viper, flags *pflag.FlagSet) error {
	for _, s := range settings {
		f := flags.Lookup(s.flag())
		if f == nil {
			continue
		}
		if _, setting := f.Annotations[ours]; !setting {
			continue
		}
		if err := v.BindPFlag(s.key, f); err != nil {
			return err
		}
		if !f.Changed {
			continue
		}
		value, err := s.parse(f.Value.String())
		if _, list := s.def.([]string); list {
			value, err = []string{}, nil // any names will do
		}
		if err == nil {
			err = s.check(value)
		}
		if err != nil {
			return fmt.Errorf("--%s: %w", s.flag(), err)
		}
	}
	return nil
}

// parse reads a value from text, as a flag or a variable has it.
func (s setting) parse(text string) (v any, err error) {
	switch s.def.(type) {
	case int:
		v, err = strconv.Atoi(text)
	case bool:
		v, err = strconv.ParseBool(text)
	case float64:
		v, err = strconv.ParseFloat(text, 64)
	case []string:
		v = strings.FieldsFunc(text, func(r rune) bool { return r == ',' })
	default:
		v = text
	}
	if err != nil {
		return nil, fmt.Errorf("%s is %q: %s", s.key, text, s.want())
	}
	return v, nil
}

// readEnvironment returns the settings that COXSWAIN_ variables make.
func readEnvironment(environ []string) (map[string]any, error) {
	out := map[string]any{}
	for _, e := range environ {
		name, text, _ := strings.Cut(e, "=")
		k, ok := strings.CutPrefix(name, "COXSWAIN_")
		if !ok {
			continue
		}
		s, ok := settingOf(strings.ToLower(k))
		if !ok {
			return nil, fmt.Errorf(
				"environment: unknown variable %s: known are COXSWAIN_ and one of %s",
				name,
				strings.ToUpper(strings.Join(Keys(), ", ")),
			)
		}
		v, err := s.parse(text)
		if err == nil {
			err = s.check(v)
		}
		if err != nil {
			return nil, fmt.Errorf("environment: %s: %w", name, err)
		}
		out[s.key] = v
	}
	return out, nil
}

// readFile returns the settings of a YAML file, each checked where it stands.
func readFile(path string) (map[string]any, error) {
	b, err := ReadYAML(path)
	if err != nil {
		return nil, fmt.Errorf("configuration %w", err)
	}
	var doc yaml.Node
	if err := yaml.Unmarshal(b, &doc); err != nil {
		return nil, fmt.Errorf("configuration %s: %w", path, err)
	}
	if doc.Kind == 0 { // nothing but comments
		return nil, nil
	}
	top := doc.Content[0]
	if top.Kind != yaml.MappingNode {
		return nil, fmt.Errorf("configuration %s:%d: want lines such as \"rate: 110\"", path, top.Line)
	}
	out := map[string]any{}
	for i := 0; i+1 < len(top.Content); i += 2 {
		k, n := top.Content[i], top.Content[i+1]
		s, ok := settingOf(k.Value)
		if !ok {
			return nil, fmt.Errorf(
				"configuration %s:%d: unknown key %q: known are %s",
				path,
				k.Line,
				k.Value,
				strings.Join(Keys(), ", "),
			)
		}
		if _, twice := out[s.key]; twice {
			return nil, fmt.Errorf("configuration %s:%d: %s is set twice", path, k.Line, s.key)
		}
		v, err := s.decode(n)
		if err == nil {
			err = s.check(v)
		}
		if err != nil {
			return nil, fmt.Errorf("configuration %s:%d: %w", path, n.Line, err)
		}
		out[s.key] = v
	}
	return out, nil
}

// decode takes a value of a file only in the setting's own type: "0,8" in
// quotes is no number, yes is no truth (YAML 1.2, section 10.2.1.2).
func (s setting) decode(n *yaml.Node) (v any, err error) {
	tag := n.ShortTag()
	fit := false
	switch s.def.(type) {
	case int:
		var x int
		fit, err = tag == "!!int", n.Decode(&x)
		v = x
	case bool:
		var x bool
		fit, err = tag == "!!bool", n.Decode(&x)
		v = x
	case float64:
		var x float64
		fit, err = tag == "!!int" || tag == "!!float", n.Decode(&x)
		v = x
	case string:
		v, fit = n.Value, n.Kind == yaml.ScalarNode && (tag == "!!str" || tag == "!!null")
	case []string:
		return s.decodeList(n)
	}
	if err != nil || !fit {
		return nil, fmt.Errorf("%s is %s: %s", s.key, shown(n), s.want())
	}
	return v, nil
}

func (s setting) decodeList(n *yaml.Node) (any, error) {
	items := n.Content
	if n.Kind == yaml.ScalarNode {
		items = []*yaml.Node{n}
	}
	out := []string{}
	for _, i := range items {
		if i.ShortTag() != "!!str" || n.Kind == yaml.MappingNode {
			return nil, fmt.Errorf("%s is %s: %s", s.key, shown(i), s.want())
		}
		out = append(out, i.Value)
	}
	return out, nil
}

// shown is a value as the file has it, in a line.
func shown(n *yaml.Node) string {
	switch n.Kind {
	case yaml.ScalarNode:
		return strconv.Quote(n.Value)
	case yaml.SequenceNode:
		return "a list"
	}
	return "a group"
}

// sources reads the overlay files of a site.
func sources(files []string) ([]timeline.Source, error) {
	var out []timeline.Source
	for _, f := range files {
		b, err := ReadYAML(f)
		if err != nil {
			return nil, err
		}
		out = append(out, timeline.Source{Name: f, Text: b})
	}
	return out, nil
}

// Line is a setting with its value, as `coxswain config` prints it.
type Line struct {
	Key   string `json:"key"`
	Value any    `json:"value"`
	Usage string `json:"usage"`
}

// inURL is a user's name and password in a URL.
var inURL = regexp.MustCompile(`//[^/@,]*@`)

// Lines are all settings as they were loaded; of token and passwords only whether they
// are set.
func (c *Config) Lines() []Line {
	var out []Line
	for _, s := range settings {
		value := c.values[s.key]
		if s.key == "http_token" && value != "" {
			value = "(set)"
		}
		if s.key == "store" {
			value = inURL.ReplaceAllString(fmt.Sprint(value), "//(set)@")
		}
		out = append(out, Line{s.key, value, strings.ReplaceAll(s.usage, "`", "")})
	}
	return out
}

package main

import (
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"sort"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/viper"

	"coxswain/cmd/coxswain/web"
	"coxswain/intents"
	"coxswain/timeline"
)

// conf is the configuration of a command. Precedence, highest first: flag,
// environment (COXSWAIN_RATE for rate), file, default.
type conf struct{ v *viper.Viper }

type setting struct {
	name  string
	def   any
	usage string
}

// settings are all keys; an unknown one in a file is refused.
var settings = []setting{
	{"rate", 110, "metronome rate, compressions a minute (100 to 120)"},
	{"allow_any_rate", false, "allow a metronome rate outside the protocol's range"},
	{"mode", "auto", "metronome mode: auto (30:2 until the airway is secured), ratio, or continuous"},
	{"protocol", "aha-2020", "protocol: " + strings.Join(timeline.Protocols(), ", ")},
	{"waveform", "biphasic", "of the defibrillator: biphasic or monophasic"},
	{"protocol_overlay", []string{}, "protocol overlay files of this site"},
	{"vocabulary", []string{}, "vocabulary overlay files"},
	{"clips", "", "folder of a unit's own recordings of the spoken clips"},
	{"recogniser", "builtin", "recogniser: builtin, pocketsphinx, or the command line of a plug-in"},
	{"input", "", "microphone (empty: the system's default; see coxswain devices)"},
	{"output", "", "loudspeaker (empty: the system's default)"},
	{"benchmarks", []string{}, "files that overlay the benchmarks of the figures"},
	{"sign_key", "", "private key that `coxswain sign` signs records with (see coxswain key)"},
	{"wait_device_s", 0, "at start, wait this long for a sound device"},
	{"records", "records", "folder that holds a folder for each session"},
	{"resume_minutes", 10, "go on with a session that was cut off less than this long ago (0: never)"},
	{"cancel_echo", true, "take our own sound out of what the recogniser hears"},
	{"loop_delay_ms", 20, "least time from loudspeaker to microphone (see coxswain devices --loop), 10 to 500"},
	{"volume", 1.0, "gain of everything played, 0 to 1"},
	{"http", "127.0.0.1:7470", "address of the wall display and the metrics (empty: none; beyond loopback only with http_token)"},
	{"http_token", "", "word that every request to http must carry (better in the environment than on the command line)"},
	{"log_level", "info", "debug, info, warn or error"},
}

func flagName(key string) string { return strings.ReplaceAll(key, "_", "-") }

func (c *conf) flags(root *cobra.Command) {
	f := root.PersistentFlags()
	f.String("config", "", "configuration file (YAML)")
	for _, s := range settings {
		switch d := s.def.(type) {
		case int:
			f.Int(flagName(s.name), d, s.usage)
		case bool:
			f.Bool(flagName(s.name), d, s.usage)
		case float64:
			f.Float64(flagName(s.name), d, s.usage)
		case string:
			f.String(flagName(s.name), d, s.usage)
		case []string:
			f.StringSlice(flagName(s.name), d, s.usage)
		}
	}
}

func (c *conf) load(cmd *cobra.Command) error {
	c.v = viper.New()
	c.v.SetEnvPrefix("COXSWAIN")
	c.v.AutomaticEnv()
	known := map[string]bool{}
	for _, s := range settings {
		known[s.name] = true
		c.v.SetDefault(s.name, s.def)
		c.v.BindPFlag(s.name, cmd.Flags().Lookup(flagName(s.name)))
	}
	if file, _ := cmd.Flags().GetString("config"); file != "" {
		c.v.SetConfigFile(file)
		c.v.SetConfigType("yaml")
		if err := c.v.ReadInConfig(); err != nil {
			return fmt.Errorf("configuration %s: %w", file, err)
		}
		only := viper.New()
		only.SetConfigFile(file)
		only.SetConfigType("yaml")
		only.ReadInConfig()
		for _, k := range only.AllKeys() {
			if !known[k] {
				return fmt.Errorf("configuration %s: unknown key %q: known are %s", file, k, strings.Join(keys(), ", "))
			}
		}
	}
	for _, e := range os.Environ() {
		name, _, _ := strings.Cut(e, "=")
		if k, ok := strings.CutPrefix(name, "COXSWAIN_"); ok && !known[strings.ToLower(k)] {
			return fmt.Errorf("environment: unknown variable %s: known are COXSWAIN_ and one of %s", name, strings.ToUpper(strings.Join(keys(), ", ")))
		}
	}
	return c.check()
}

func keys() []string {
	var out []string
	for _, s := range settings {
		out = append(out, s.name)
	}
	sort.Strings(out)
	return out
}

func (c *conf) check() error {
	switch m := c.v.GetString("mode"); m {
	case "auto", "ratio", "continuous":
	default:
		return fmt.Errorf("mode is %q: choose auto, ratio or continuous", m)
	}
	if a := c.v.GetString("http"); a != "" && !web.Loopback(a) && len(c.v.GetString("http_token")) < 16 {
		return fmt.Errorf("http is %q, beyond this machine: set http_token to at least 16 characters, or choose 127.0.0.1:PORT", a)
	}
	if n := c.v.GetInt("resume_minutes"); n < 0 || n > 24*60 {
		return fmt.Errorf("resume_minutes is %q: choose 0 to 1440", c.v.GetString("resume_minutes"))
	}
	if n := c.v.GetInt("loop_delay_ms"); n < 10 || n > 500 {
		return fmt.Errorf("loop_delay_ms is %q: choose 10 to 500", c.v.GetString("loop_delay_ms"))
	}
	if x := c.v.GetFloat64("volume"); !(x >= 0 && x <= 1) {
		return fmt.Errorf("volume is %v: choose 0 to 1", x)
	}
	if r := c.v.GetInt("rate"); r < 60 || r > 200 {
		return fmt.Errorf("rate is %q: choose 100 to 120 a minute", c.v.GetString("rate"))
	}
	var l slog.Level
	if err := l.UnmarshalText([]byte(c.v.GetString("log_level"))); err != nil {
		return fmt.Errorf("log_level is %q: choose debug, info, warn or error", c.v.GetString("log_level"))
	}
	return nil
}

func (c *conf) level() slog.Level {
	var l slog.Level
	l.UnmarshalText([]byte(c.v.GetString("log_level")))
	return l
}

// overlays reads the site's files that a setting names.
func (c *conf) overlays(setting string) ([]timeline.Source, error) {
	var out []timeline.Source
	for _, f := range c.v.GetStringSlice(setting) {
		b, err := os.ReadFile(f)
		if err != nil {
			return nil, err
		}
		out = append(out, timeline.Source{Name: f, Text: b})
	}
	return out, nil
}

// protocol loads the protocol and holds the metronome to its rate range.
func (c *conf) protocol() (*timeline.Protocol, error) {
	over, err := c.overlays("protocol_overlay")
	if err != nil {
		return nil, err
	}
	p, err := timeline.LoadProtocol(c.v.GetString("protocol"), over...)
	if err != nil {
		return nil, err
	}
	if err := p.SetWaveform(c.v.GetString("waveform")); err != nil {
		return nil, err
	}
	rate, lo, hi := float64(c.v.GetInt("rate")), p.Get("compression_rate_min"), p.Get("compression_rate_max")
	if (rate < lo || rate > hi) && !c.v.GetBool("allow_any_rate") {
		return nil, fmt.Errorf("rate is %v: protocol %s wants %v to %v a minute (%s); use --allow-any-rate to override", rate, p.ID, lo, hi, p.Values["compression_rate_min"].Source)
	}
	return p, nil
}

func (c *conf) vocabulary() (*intents.Vocabulary, error) {
	return intents.LoadVocabulary(c.v.GetStringSlice("vocabulary")...)
}

// commandOf is the command line of a recogniser.
func commandOf(name string) ([]string, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	switch name {
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

// plugIn starts the configured recogniser as a child process.
func (c *conf) plugIn(o intents.ProcessOptions) (*intents.Process, error) {
	return startPlugIn(c.v.GetString("recogniser"), o)
}

// startPlugIn starts a recogniser, by its name or command line.
func startPlugIn(name string, o intents.ProcessOptions) (*intents.Process, error) {
	var err error
	if o.Command, err = commandOf(name); err != nil {
		return nil, err
	}
	return intents.NewProcess(o)
}

func newConfigCmd(c *conf) *cobra.Command {
	return &cobra.Command{
		Use: "config", Short: "Print every setting and its value",
		Long:    "Print every setting and its value. Precedence, highest first: flag, environment (COXSWAIN_RATE), file (--config), default.",
		Example: "  coxswain config\n  COXSWAIN_RATE=105 coxswain config",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if _, err := c.protocol(); err != nil {
				return err
			}
			for _, s := range settings {
				value := c.v.Get(s.name)
				if s.name == "http_token" && value != "" {
					value = "(set)"
				}
				fmt.Fprintf(cmd.OutOrStdout(), "%s: %v\t# %s\n", s.name, value, s.usage)
			}
			return nil
		},
	}
}

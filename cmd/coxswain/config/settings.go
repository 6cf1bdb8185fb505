package config

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"github.com/spf13/pflag"

	"coxswain/timeline"
)

// setting is one key. Its default has its type: int, float64, bool, string or
// []string.
type setting struct {
	key   string
	def   any
	usage string  // for --help; what to write for the value stands in backquotes
	lo    float64 // a number's bounds
	hi    float64
	words []string // the only words that are allowed; none: any
}

// settings are all keys; an unknown one in a file is refused.
var settings = []setting{
	{key: "rate", def: 110, usage: "metronome rate: `N` compressions a minute (100 to 120)", lo: 60, hi: 200},
	{key: "allow_any_rate", def: false, usage: "allow a metronome rate outside the protocol's range"},
	{key: "mode", def: "auto", usage: "metronome `MODE`: auto (30:2 until the airway is secured), ratio, or continuous",
		words: []string{"auto", "ratio", "continuous"}},
	{
		key:   "protocol",
		def:   timeline.DefaultProtocol,
		usage: "protocol `ID`: " + strings.Join(timeline.Protocols(), ", "),
	},
	{
		key:   "waveform",
		def:   "biphasic",
		usage: "`WAVEFORM` of the defibrillator: biphasic or monophasic",
		words: []string{"biphasic", "monophasic"},
	},
	{key: "protocol_overlay", def: []string{}, usage: "protocol overlay `FILES` of this site"},
	{key: "vocabulary", def: []string{}, usage: "vocabulary overlay `FILES`"},
	{key: "clips", def: "", usage: "`FOLDER` of a unit's own recordings of the spoken clips"},
	{key: "recogniser", def: "builtin", usage: "`RECOGNISER`: builtin, pocketsphinx, or the command line of a plug-in"},
	{key: "voice", def: "", usage: "`FILE` of the leader's voice profile (see coxswain rehearse; empty: none)"},
	{key: "input", def: "", usage: "microphone `DEVICE` (empty: the system's default; see coxswain devices)"},
	{key: "output", def: "", usage: "loudspeaker `DEVICE` (empty: the system's default)"},
	{key: "benchmarks", def: []string{}, usage: "`FILES` that overlay the benchmarks of the figures"},
	{key: "sign_key", def: "", usage: "`FILE` of the private key that records are signed with (see coxswain key)"},
	{
		key: "buffer_ms",
		def: 20,
		usage: "`MS` of sound that the device holds, 20 to 200: " +
			"more bridges longer stalls of a busy machine, and all is said as much later",
		lo: 20,
		hi: 200,
	},
	{key: "wait_device_s", def: 0, usage: "at start, wait `SECONDS` for a sound device", hi: 1e7},
	{key: "records", def: UsualFolder, usage: "`FOLDER` that holds a folder for each record"},
	{
		key:   "records_fallback",
		def:   "",
		usage: "`FOLDER` for records while the other cannot be written to (empty: one in the system's temporary folder)",
	},
	{
		key:   "record",
		def:   "case",
		usage: "`WHEN` a record runs: case (one for each case, nothing between them) or always",
		words: []string{"case", "always"},
	},
	{
		key:   "record_before_s",
		def:   60,
		usage: "`SECONDS` of sound before a case's start that belong to its record, 0 to 600; kept in memory only until then",
		hi:    600,
	},
	{
		key:   "case_end_minutes",
		def:   20,
		usage: "`N` minutes without a callout or compressions after which a case ends, asked for a minute before (0: never)",
		hi:    24 * 60,
	},
	{
		key:   "resume_minutes",
		def:   10,
		usage: "go on with a session that was cut off less than `N` minutes ago (0: never)",
		hi:    24 * 60,
	},
	{key: "cancel_echo", def: true, usage: "take our own sound out of what the recogniser hears"},
	{
		key:   "loop_delay_ms",
		def:   usualLoopMs,
		usage: "least time from loudspeaker to microphone in `MS` (see coxswain devices --loop), 10 to 500",
		lo:    10,
		hi:    500,
	},
	{key: "volume", def: 1.0, usage: "`GAIN` of everything played, 0 to 1", hi: 1},
	{
		key:   "http",
		def:   "127.0.0.1:7470",
		usage: "`ADDRESS` of the wall display and the metrics (empty: none; beyond loopback only with http_token)",
	},
	{key: "http_open", def: false, usage: "show the wall display to every user of this machine, without a word"},
	{
		key: "http_token",
		def: "",
		usage: "`WORD` that every request to http must carry " +
			"(better in the environment than on the command line; none: one is made, see coxswain status --display)",
	},
	{
		key:   "store",
		def:   "",
		usage: "`URL` of the hospital's store, NATS with JetStream, to which finished records go sealed (empty: nowhere)",
	},
	{key: "store_key", def: "", usage: "`FILE` of the site's age public keys, to which records are sealed for the store"},
	{key: "store_creds", def: "", usage: "`FILE` of the credentials for the store (empty: none)"},
	{key: "store_ca", def: "", usage: "`FILE` of the authority that signs the store's certificate (empty: the system's)"},
	{key: "store_plain", def: false, usage: "let a password in store's address travel in clear"},
	{key: "room", def: "", usage: "`NAME` of this room in the store: letters, digits, dashes (empty: the host's)"},
	{
		key:   "log_level",
		def:   "info",
		usage: "least `LEVEL` that is logged: debug, info, warn or error",
		words: []string{"debug", "info", "warn", "error"},
	},
}

// Groups of keys that commands read together.
var (
	Protocol   = []string{"protocol", "protocol_overlay", "waveform", "rate", "allow_any_rate"}
	Recogniser = []string{"recogniser", "vocabulary", "voice"}
	Amending   = []string{"sign_key", "vocabulary"}
	Device     = []string{"input", "output", "buffer_ms"}
	Session    = join(
		Protocol,
		Recogniser,
		[]string{
			"mode",
			"clips",
			"volume",
			"cancel_echo",
			"loop_delay_ms",
			"record",
			"record_before_s",
			"case_end_minutes",
		},
	)
	Store  = []string{"store", "store_creds", "store_ca", "store_plain"}
	Outbox = join(Store, []string{"store_key", "room", "sign_key", "records", "records_fallback", "benchmarks"})
	Live   = join(
		Session,
		Device,
		[]string{"wait_device_s", "records", "records_fallback", "resume_minutes", "http", "http_open", "http_token"},
	)
	Run = join(Live, Outbox)
)

func join(lists ...[]string) []string {
	var out []string
	for _, l := range lists {
		out = append(out, l...)
	}
	return out
}

// Keys are the names of all settings, sorted.
func Keys() []string {
	var out []string
	for _, s := range settings {
		out = append(out, s.key)
	}
	sort.Strings(out)
	return out
}

func settingOf(key string) (setting, bool) {
	for _, s := range settings {
		if s.key == key {
			return s, true
		}
	}
	return setting{}, false
}

// flag is the name of a setting's flag.
func (s setting) flag() string { return strings.ReplaceAll(s.key, "_", "-") }

// ours marks the flags that are settings.
const ours = "setting"

// Flags adds --config, --log-level and the flags of the given keys: what a
// command reads, so that its --help lists no other. A key that is not a
// setting's panics: it is written in the program.
func Flags(f *pflag.FlagSet, keys ...string) {
	f.String("config", "", "configuration `FILE` (YAML)")
	for _, k := range append([]string{"log_level"}, keys...) {
		s, ok := settingOf(k)
		if !ok {
			panic("config: no setting " + k)
		}
		if f.Lookup(s.flag()) != nil {
			continue
		}
		switch d := s.def.(type) {
		case int:
			f.Int(s.flag(), d, s.usage)
		case bool:
			f.Bool(s.flag(), d, s.usage)
		case float64:
			f.Float64(s.flag(), d, s.usage)
		case string:
			f.String(s.flag(), d, s.usage)
		case []string:
			f.StringSlice(s.flag(), d, s.usage)
		}
		f.SetAnnotation(s.flag(), ours, nil) // a command may have a flag of its own by that name
	}
}

// Given are the flags that were given and are a command's own: no settings, nor the file of them.
func Given(f *pflag.FlagSet) (names []string) {
	f.Visit(func(x *pflag.Flag) {
		if _, setting := x.Annotations[ours]; !setting && x.Name != "config" {
			names = append(names, x.Name)
		}
	})
	return names
}

// want says what a setting's value should be.
func (s setting) want() string {
	switch s.def.(type) {
	case bool:
		return "choose true or false"
	case int:
		return fmt.Sprintf("want a whole number from %g to %g", s.lo, s.hi)
	case float64:
		return fmt.Sprintf("want a number from %g to %g", s.lo, s.hi)
	case []string:
		return "want a list of file names"
	}
	if n := len(s.words); n > 0 {
		return "choose " + strings.Join(s.words[:n-1], ", ") + " or " + s.words[n-1]
	}
	return "want text"
}

// check refuses a value of the right type that is out of bounds.
func (s setting) check(v any) error {
	ok := true
	switch x := v.(type) {
	case int:
		ok = float64(x) >= s.lo && float64(x) <= s.hi
	case float64:
		ok = x >= s.lo && x <= s.hi && !math.IsNaN(x)
	case string:
		ok = len(s.words) == 0
		for _, w := range s.words {
			ok = ok || w == x
		}
	}
	if !ok {
		return fmt.Errorf("%s is %v: %s", s.key, v, s.want())
	}
	return nil
}

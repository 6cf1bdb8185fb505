// Package config is what can be set: by flag, environment (COXSWAIN_RATE for
// rate), file and default, the first of these that says something. A value is
// refused where it stands, with file and line, variable or flag; below main
// only typed parts are passed on.
package config

import (
	"fmt"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"coxswain/timeline"
	"coxswain/timeline/figures"
)

// Config is everything that can be set. Its parts go to whoever needs them.
type Config struct {
	Beat      `               mapstructure:",squash"`
	Guideline `               mapstructure:",squash"`
	Hearing   `               mapstructure:",squash"`
	Speech    `               mapstructure:",squash"`
	Sound     `               mapstructure:",squash"`
	Records   `               mapstructure:",squash"`
	Pages     `               mapstructure:",squash"`
	Figures   `               mapstructure:",squash"`
	Delivery  `               mapstructure:",squash"`
	LogLevel  string         `mapstructure:"log_level"`
	values    map[string]any // as they were loaded, by key
}

// Beat is how the metronome goes.
type Beat struct {
	Rate    int    `mapstructure:"rate"`           // compressions a minute
	AnyRate bool   `mapstructure:"allow_any_rate"` // outside the protocol's range too
	Mode    string `mapstructure:"mode"`           // auto, ratio or continuous
}

// Guideline is the protocol and what a site lays over it.
type Guideline struct {
	Protocol string   `mapstructure:"protocol"`
	Waveform string   `mapstructure:"waveform"` // biphasic or monophasic
	Overlays []string `mapstructure:"protocol_overlay"`
}

// Hearing is who hears, and what can be heard.
type Hearing struct {
	Recogniser  string   `mapstructure:"recogniser"` // builtin, pocketsphinx or a command line
	Vocabulary  []string `mapstructure:"vocabulary"` // overlay files
	CancelEcho  bool     `mapstructure:"cancel_echo"`
	LoopDelayMs int      `mapstructure:"loop_delay_ms"`
	Profile     string   `mapstructure:"voice"` // file of the leader's voice profile; empty: none
}

// Speech is how coxswain sounds.
type Speech struct {
	Clips  string  `mapstructure:"clips"`  // folder of a unit's own recordings
	Volume float64 `mapstructure:"volume"` // gain, 0 to 1
}

// Sound is the device.
type Sound struct {
	Input       string `mapstructure:"input"`
	Output      string `mapstructure:"output"`
	WaitDeviceS int    `mapstructure:"wait_device_s"`
	BufferMs    int    `mapstructure:"buffer_ms"` // how much sound the device holds
}

// Buffer is how much sound the device holds.
func (s Sound) Buffer() time.Duration { return time.Duration(s.BufferMs) * time.Millisecond }

// usualLoopMs is the default of loop_delay_ms.
const usualLoopMs = 20

// LoopDelay is the least time from loudspeaker to microphone: as it was set, or what the
// device's buffer makes it at least. Measured over PulseAudio 16: 30 ms with a buffer of 20,
// 120 with 100, 240 to 310 with 200. Half of the buffer counts, since a card may hold less
// than it was asked to, and the echo canceller looks a quarter of a second further.
func (c *Config) LoopDelay() time.Duration {
	ms := c.LoopDelayMs
	if ms == usualLoopMs {
		ms = max(ms, c.BufferMs/2)
	}
	return time.Duration(ms) * time.Millisecond
}

// WaitDevice is how long a start waits for a device.
func (s Sound) WaitDevice() time.Duration { return time.Duration(s.WaitDeviceS) * time.Second }

// UsualFolder is where records lie if no setting says where.
const UsualFolder = "records"

// Records is where records lie and what is done with them.
type Records struct {
	Folder        string `mapstructure:"records"`
	Elsewhere     string `mapstructure:"records_fallback"`
	Keep          string `mapstructure:"record"`           // case or always
	BeforeS       int    `mapstructure:"record_before_s"`  // of sound before a case's start
	SilenceMin    int    `mapstructure:"case_end_minutes"` // without a callout
	ResumeMinutes int    `mapstructure:"resume_minutes"`
	SignKey       string `mapstructure:"sign_key"`
}

// Fallback is where records go while the folder cannot be written to.
func (r Records) Fallback() string {
	if r.Elsewhere != "" {
		return r.Elsewhere
	}
	return filepath.Join(os.TempDir(), fmt.Sprintf("coxswain-records-%d", os.Getuid()))
}

// Before is how much sound before a case's start belongs to its record.
func (r Records) Before() time.Duration { return time.Duration(r.BeforeS) * time.Second }

// Silence is how long nothing may be called before a case ends; 0: for ever.
func (r Records) Silence() time.Duration { return time.Duration(r.SilenceMin) * time.Minute }

// Resume is how long ago a record may have been cut off to be gone on with.
func (r Records) Resume() time.Duration { return time.Duration(r.ResumeMinutes) * time.Minute }

// Pages is where the wall display and the metrics are.
type Pages struct {
	HTTP  string `mapstructure:"http"`       // address; empty: none
	Open  bool   `mapstructure:"http_open"`  // to every user of this machine
	Token string `mapstructure:"http_token"` // empty: one is made for the wall display
}

// Delivery is where finished records go.
type Delivery struct {
	Store      string `mapstructure:"store"` // URL; empty: nowhere
	StoreKey   string `mapstructure:"store_key"`
	StoreCreds string `mapstructure:"store_creds"`
	StoreCA    string `mapstructure:"store_ca"`
	StorePlain bool   `mapstructure:"store_plain"` // a password may travel in clear
	RoomName   string `mapstructure:"room"`
}

// Room is the name of this room in the store: as it is set, or the host's.
func (d Delivery) Room() string {
	if d.RoomName != "" {
		return d.RoomName
	}
	host, _ := os.Hostname()
	host, _, _ = strings.Cut(strings.ToLower(host), ".")
	return host
}

// Figures is how a record is measured.
type Figures struct {
	Benchmarks []string `mapstructure:"benchmarks"` // overlay files
}

// Level is the least level that is logged.
func (c *Config) Level() slog.Level {
	var l slog.Level
	l.UnmarshalText([]byte(c.LogLevel)) // checked by Load
	return l
}

// Load loads the protocol with the site's overlays.
func (g Guideline) Load() (*timeline.Protocol, error) {
	over, err := sources(g.Overlays)
	if err != nil {
		return nil, err
	}
	p, err := timeline.LoadProtocol(g.Protocol, over...)
	if err != nil {
		return nil, err
	}
	return p, p.SetWaveform(g.Waveform)
}

// Within holds the beat to the rates of a protocol.
func (b Beat) Within(p *timeline.Protocol) error {
	rate, lo, hi := float64(b.Rate), p.Get("compression_rate_min"), p.Get("compression_rate_max")
	if (rate < lo || rate > hi) && !b.AnyRate {
		return fmt.Errorf("rate is %v: protocol %s wants %v to %v a minute (%s); use --allow-any-rate to override",
			rate, p.ID, lo, hi, p.Values["compression_rate_min"].Source)
	}
	return nil
}

// Definitions are the figures with the site's benchmarks.
func (f Figures) Definitions() ([]figures.Definition, error) {
	over, err := sources(f.Benchmarks)
	if err != nil {
		return nil, err
	}
	return figures.Definitions(over...)
}

// together checks what no setting can check alone.
func (c *Config) together() error {
	if c.HTTP != "" && !loopback(c.HTTP) && len(c.Token) < 16 {
		return fmt.Errorf(
			"http is %q, beyond this machine: set http_token to at least 16 characters, or choose 127.0.0.1:PORT",
			c.HTTP,
		)
	}
	return nil
}

// loopback reports whether an address to listen on is this machine's own.
func loopback(addr string) bool {
	host, _, err := net.SplitHostPort(addr)
	ip := net.ParseIP(host)
	return err == nil && (host == "localhost" || ip != nil && ip.IsLoopback())
}

package prompts

import (
	"bytes"
	"embed"
	"fmt"
	"io/fs"
	"math"
	"path/filepath"
	"regexp"
	"sort"
	"strings"

	"go.yaml.in/yaml/v3"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
	"coxswain/timeline/drill"
)

//go:embed cues.yaml
var cuesFile []byte

//go:embed clips/*.opus
var clipFiles embed.FS

// gap between the clips of a sentence, in samples of the session clock.
const gap = audio.Rate / 25

// Voice turns cues into sound: sentences of clips, numbers spoken from clips.
type Voice struct {
	cues  map[string]string
	items map[string]string
	clips map[string]audio.Sound // by slug of the words

	written map[string]string // for screens, where the sentence does not do
	figures bool              // numbers are not spoken
}

type cueFile struct {
	Cues  map[string]string `yaml:"cues"`
	Items map[string]string `yaml:"items"`

	Written map[string]string `yaml:"written"`
}

func parseCues(name string, b []byte) (cueFile, error) {
	var f cueFile
	d := yaml.NewDecoder(bytes.NewReader(b))
	d.KnownFields(true)
	if err := d.Decode(&f); err != nil {
		return f, fmt.Errorf("%s: %w", name, err)
	}
	return f, nil
}

// NewVoice loads the built-in clips and, over them, a unit's own recordings
// from folder (if not empty): WAV files named like the built-in ones.
func NewVoice(folder string) (*Voice, error) {
	f, err := parseCues("cues.yaml", cuesFile)
	if err != nil {
		return nil, err
	}
	v := &Voice{cues: f.Cues, items: f.Items, written: f.Written, clips: map[string]audio.Sound{}}
	names, err := fs.Glob(clipFiles, "clips/*.opus")
	if err != nil {
		return nil, err
	}
	for _, n := range names {
		b, err := clipFiles.ReadFile(n)
		if err != nil {
			return nil, err
		}
		if v.clips[slugOf(n)], err = audio.LoadOpus(n, b); err != nil {
			return nil, err
		}
	}
	if folder != "" {
		if err := v.overlay(folder); err != nil {
			return nil, err
		}
	}
	for _, text := range Texts() {
		if v.clips[Slug(text)] == nil {
			return nil, fmt.Errorf("no clip for %q: run `go run ./cmd/voice`", text)
		}
	}
	return v, nil
}

// mostOfClip bounds a file of a clip: a minute at 192 kHz in 32 bits.
const mostOfClip = 64 << 20

func slugOf(file string) string { return strings.TrimSuffix(filepath.Base(file), filepath.Ext(file)) }

func (v *Voice) overlay(folder string) error {
	files, err := filepath.Glob(filepath.Join(folder, "*.wav"))
	if err != nil {
		return err
	}
	if len(files) == 0 {
		return fmt.Errorf("clips folder %s: holds no WAV files", folder)
	}
	for _, n := range files {
		if v.clips[slugOf(n)] == nil {
			return fmt.Errorf("clips folder: %s replaces no built-in clip: name it like a file in prompts/clips, but .wav", n)
		}
		b, err := recorder.ReadNamed(n, mostOfClip)
		if err != nil {
			return fmt.Errorf("clips folder: %w", err)
		}
		c, err := audio.LoadClip(n, b)
		if err != nil {
			return err
		}
		v.clips[slugOf(n)] = c
	}
	return nil
}

var slot = regexp.MustCompile(`\{([a-z_]+)\}`)

// Sentence returns the words of a cue as they are spoken.
func (v *Voice) Sentence(c timeline.Cue) string {
	return strings.Join(v.pieces(c), " ")
}

// Speak returns the cue as sound. A cue without a sentence of its own gets the
// sentence of its longest known prefix, or "Copied".
func (v *Voice) Speak(c timeline.Cue) audio.Sound {
	var out audio.Sequence
	for i, p := range v.pieces(c) {
		if i > 0 {
			out = append(out, audio.Silence(gap))
		}
		if clip := v.clips[Slug(p)]; clip != nil {
			out = append(out, clip)
		}
	}
	return out
}

// Short returns a cue that says the same in fewer words: the sentence named ID.short,
// without the parts, and without the items unless it names them; or the cue as it is,
// if there is none.
func (v *Voice) Short(c timeline.Cue) timeline.Cue {
	words, ok := v.cues[c.ID+".short"]
	if !ok || c.Say != "" {
		return c
	}
	c.Say, c.Parts = words, nil
	if !strings.Contains(words, "{items}") {
		c.Items = nil
	}
	return c
}

// pieces splits a cue's sentence into the texts of its clips. The words of
// {items} go where it stands, or else to the end; the parts follow.
func (v *Voice) pieces(c timeline.Cue) []string {
	head, tail, placed := strings.Cut(v.template(c), "{items}")
	out := v.clauses(nil, head, c.Values)
	for _, item := range c.Items {
		if t, ok := v.items[item]; ok {
			out = append(out, t)
		}
	}
	if placed {
		out = v.clauses(out, tail, c.Values)
	}
	for _, p := range c.Parts {
		out = append(out, v.pieces(p)...)
	}
	return out
}

// clauses appends the clips of a text with its numbers.
func (v *Voice) clauses(out []string, text string, values map[string]float64) []string {
	for text != "" {
		m := slot.FindStringSubmatchIndex(text)
		if m == nil {
			return appendText(out, text)
		}
		out = appendText(out, text[:m[0]])
		value, known := values[text[m[2]:m[3]]]
		text = text[m[1]:]
		switch unit := firstWord(text); {
		case !known: // a number that nobody may say is left out with its unit
			text = strings.TrimLeft(strings.TrimPrefix(strings.TrimLeft(text, " "), unit), ",.? ")
		case value == 0 && (unit == "minutes" || unit == "seconds") && len(values) > 1: // "0 minutes" is left out
			text = strings.TrimPrefix(strings.TrimLeft(text, " "), unit)
			text = strings.TrimLeft(text, ", ")
		case value == 1 && strings.HasSuffix(unit, "s"):
			out = append(append(out, v.number(value)...), strings.TrimSuffix(unit, "s"))
			text = strings.TrimLeft(strings.TrimPrefix(strings.TrimLeft(text, " "), unit), ",.? ")
		case unit != "":
			out = append(append(out, v.number(value)...), unit)
			text = strings.TrimLeft(strings.TrimPrefix(strings.TrimLeft(text, " "), unit), ",.? ")
		default:
			out = append(out, v.number(value)...)
		}
	}
	return out
}

func (v *Voice) template(c timeline.Cue) string {
	if c.Say != "" {
		return c.Say
	}
	for slotName := range c.Values {
		if t, ok := v.cues[c.ID+"."+slotName]; ok {
			return t
		}
	}
	id := c.ID
	for {
		if t, ok := v.cues[id]; ok {
			return t
		}
		i := strings.LastIndexByte(id, '.')
		if i < 0 {
			return v.cues["said.other"]
		}
		id = id[:i]
	}
}

func firstWord(s string) string {
	s = strings.TrimLeft(s, " ")
	if i := strings.IndexAny(s, " ,.?"); i >= 0 {
		s = s[:i]
	}
	return s
}

func appendText(out []string, t string) []string {
	if t = strings.TrimLeft(strings.TrimRight(t, " ,"), " ,.?"); t != "" {
		out = append(out, t)
	}
	return out
}

var (
	ones = strings.Fields(
		"zero one two three four five six seven eight nine ten eleven " +
			"twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen",
	)
	tens = strings.Fields("- - twenty thirty forty fifty sixty seventy eighty ninety")
)

// NumberTexts returns the clips that speak a number from 0 to 999,999, with up to
// three decimals: an infant's dose of 0.005 mg must not be rounded up to 0.01.
func NumberTexts(x float64) []string {
	x = math.Round(x*1000) / 1000
	n := int(x)
	var out []string
	if x < 0 || x >= 1e6 {
		return []string{"many"}
	}
	if n >= 1000 {
		out, n = append(NumberTexts(float64(n/1000)), "thousand"), n%1000
	}
	if n >= 100 {
		out, n = append(out, ones[n/100], "hundred"), n%100
	}
	switch {
	case n >= 20 && n%10 > 0:
		out = append(out, tens[n/10], ones[n%10])
	case n >= 20:
		out = append(out, tens[n/10])
	case n > 0 || len(out) == 0:
		out = append(out, ones[n])
	}
	if f := int(math.Round((x - math.Floor(x)) * 1000)); f > 0 {
		out = append(out, "point", ones[f/100])
		if f%100 > 0 {
			out = append(out, ones[f/10%10])
		}
		if f%10 > 0 {
			out = append(out, ones[f%10])
		}
	}
	return out
}

// Slug is the file name of a clip without its ending.
func Slug(text string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(text) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return strings.Trim(b.String(), "-")
}

// Texts lists the words of every clip, sorted: what cmd/voice renders and what
// a unit records to use its own voice.
func Texts() []string {
	f, err := parseCues("cues.yaml", cuesFile)
	if err != nil {
		return nil
	}
	set := map[string]bool{"hundred": true, "thousand": true, "point": true, "many": true}
	for _, w := range append(append([]string{}, ones...), tens[2:]...) {
		set[w] = true
	}
	for _, words := range append([]string{""}, timeline.WordSets()...) {
		v := f.in(words)
		for id, t := range v.cues {
			for _, value := range []float64{1, 2} {
				values := map[string]float64{}
				for _, m := range slot.FindAllStringSubmatch(t, -1) {
					values[m[1]] = value
				}
				for _, p := range v.pieces(timeline.Cue{ID: id, Values: values}) {
					set[p] = true
				}
			}
		}
		for _, t := range v.items {
			set[t] = true
		}
	}
	for _, id := range drill.IDs() {
		if c, err := drill.Load(id); err == nil { // that they all load is tested
			for _, t := range c.Tell {
				set[t.Say] = true
			}
		}
	}
	out := make([]string, 0, len(set))
	for t := range set {
		out = append(out, t)
	}
	sort.Strings(out)
	return out
}

package intents

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"coxswain/audio/recorder"
)

//go:embed vocabulary.yaml
var baseVocabulary []byte

// Slot is a spoken number: its unit and the bounds outside which a number is
// not believed.
type Slot struct {
	Unit string  `yaml:"unit" json:"unit"`
	Min  float64 `yaml:"min" json:"min"`
	Max  float64 `yaml:"max" json:"max"`
	Step float64 `yaml:"step" json:"step,omitempty"` // 1: whole numbers only
	// Units are words right behind the number that give it in another unit, each with what the
	// number is multiplied with: {micrograms: 0.001}.
	Units map[string]float64 `yaml:"units" json:"units,omitempty"`
	line  int
}

// Callout is one thing that can be called, and every way to say it.
type Callout struct {
	ID         string   `yaml:"id" json:"id"`
	Phrases    []string `yaml:"phrases" json:"phrases"`
	Confidence float64  `yaml:"confidence" json:"confidence,omitempty"` // 0: the default
	// Usual are the numbers most said with it: of two that sound alike, a
	// recogniser may take the usual one.
	Usual []float64 `yaml:"usual" json:"usual,omitempty"`
	// Max are bounds of its slots where they are tighter than the slot's own: no
	// drug is given in the doses of every drug.
	Max map[string]float64 `yaml:"max" json:"max,omitempty"`
	// Answers are phrases of it that are too short to be heard but after a question.
	Answers []string `yaml:"answers" json:"answers,omitempty"`
	Lead    bool     `yaml:"lead" json:"lead,omitempty"` // asks for the lead word
	// Alone callouts are a breath of their own, courtesies aside: "cancel that order" is no "cancel that".
	Alone bool `yaml:"alone" json:"alone,omitempty"`
	New   bool `yaml:"new" json:"new,omitempty"` // a site's own id beside the built-in ones
	Line  int  `yaml:"-" json:"-"`
}

// UnmarshalYAML keeps the line for errors.
func (c *Callout) UnmarshalYAML(n *yaml.Node) error {
	type plain Callout
	known := strings.Fields("id phrases confidence usual max answers lead alone new")
	if err := OnlyKeys(n, "in a callout", known...); err != nil {
		return err
	}
	if err := n.Decode((*plain)(c)); err != nil {
		return err
	}
	c.Line = n.Line
	return nil
}

// OnlyKeys finds a key of a YAML mapping that is none of these, in what place says: a type with an
// UnmarshalYAML of its own loses the library's strictness. Anything but a mapping has no keys.
func OnlyKeys(n *yaml.Node, place string, keys ...string) error {
	for i := 0; n.Kind == yaml.MappingNode && i < len(n.Content); i += 2 {
		if k := n.Content[i]; !slices.Contains(keys, k.Value) {
			return fmt.Errorf("line %d: unknown key %q %s", k.Line, k.Value, place)
		}
	}
	return nil
}

// Vocabulary is everything that can be said. The zero value can say nothing.
type Vocabulary struct {
	Version        int                 `yaml:"version" json:"version"`
	Language       string              `yaml:"language" json:"language"`
	Replace        bool                `yaml:"replace" json:"-"`
	LeadWord       string              `yaml:"lead_word" json:"lead_word,omitempty"` // spoken before some callouts
	LeadAll        bool                `yaml:"lead_all" json:"lead_all,omitempty"`
	Slots          map[string]Slot     `yaml:"slots" json:"slots"`
	Pronunciations map[string][]string `yaml:"pronunciations" json:"pronunciations"`
	Callouts       []Callout           `yaml:"callouts" json:"callouts"`
	Talk           []Talk              `yaml:"talk" json:"talk,omitempty"`
	Around         Around              `yaml:"around" json:"around,omitzero"`
	Either         []Either            `yaml:"either" json:"either,omitempty"`
	Hash           string              `yaml:"-" json:"-"`
	Alone          bool                `yaml:"-" json:"-"` // an overlay stood alone
	leadLine       int                 // where the lead word stands in its file
	soundLines     map[string]int      // where each pronunciation stands
}

// rawVocabulary is a vocabulary file as it is written: pronunciations keep
// their place in the file, for errors.
type rawVocabulary struct {
	Version        int                  `yaml:"version"`
	Language       string               `yaml:"language"`
	Replace        bool                 `yaml:"replace"`
	LeadWord       yaml.Node            `yaml:"lead_word"`
	LeadAll        bool                 `yaml:"lead_all"`
	Slots          map[string]Slot      `yaml:"slots"`
	Pronunciations map[string]yaml.Node `yaml:"pronunciations"`
	Callouts       []Callout            `yaml:"callouts"`
	Talk           []Talk               `yaml:"talk"`
	Around         Around               `yaml:"around"`
	Either         []Either             `yaml:"either"`
}

// LoadVocabulary returns the built-in vocabulary with the overlay files laid
// over it in turn. An overlay adds phrases to callouts it names, and replaces
// slots and pronunciations. It stands alone if it says `replace: true` or if
// none of its ids is known. Errors name file and line.
func LoadVocabulary(overlays ...string) (*Vocabulary, error) {
	v, err := ParseVocabulary("vocabulary.yaml", baseVocabulary)
	if err != nil {
		return nil, err
	}
	if err := v.checkEither("vocabulary.yaml", v.Either); err != nil {
		return nil, err
	}
	sum := sha256.New()
	sum.Write(baseVocabulary)
	for _, name := range overlays {
		b, err := recorder.ReadNamed(name, 1<<20)
		if err != nil {
			return nil, err
		}
		o, err := ParseVocabulary(name, b)
		if err != nil {
			return nil, err
		}
		base := v
		if v, err = base.overlay(name, o); err != nil {
			return nil, err
		}
		if err = v.checkPhrases(name, o); err != nil {
			return nil, err
		}
		if err = v.disarms(name, base, o); err != nil {
			return nil, err
		}
		sum.Write(b)
	}
	v.Hash = hex.EncodeToString(sum.Sum(nil))
	return v, nil
}

// ParseVocabulary reads and checks one vocabulary or overlay file.
func ParseVocabulary(name string, text []byte) (*Vocabulary, error) {
	var raw rawVocabulary
	d := yaml.NewDecoder(bytes.NewReader(text))
	d.KnownFields(true)
	if err := d.Decode(&raw); err != nil {
		if errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("%s:1: the vocabulary is empty: write callouts: [{id: ..., phrases: [...]}]", name)
		}
		return nil, yamlError(name, err)
	}
	var more yaml.Node
	if d.Decode(&more) == nil && len(more.Content) > 0 && more.Content[0].ShortTag() != "!!null" {
		return nil, fmt.Errorf("%s:%d: a second document begins here: put all into one", name, more.Content[0].Line)
	}
	if raw.LeadWord.Kind != 0 && raw.LeadWord.Kind != yaml.ScalarNode {
		return nil, fmt.Errorf("%s:%d: lead_word: want a word", name, raw.LeadWord.Line)
	}
	v := &Vocabulary{
		Version:  raw.Version,
		Language: raw.Language,
		Replace:  raw.Replace,
		LeadWord: clean(raw.LeadWord.Value),
		leadLine: raw.LeadWord.Line,
		LeadAll:  raw.LeadAll,
		Slots:    raw.Slots,
		Callouts: raw.Callouts,
		Talk:     raw.Talk,
		Around:   raw.Around,
		Either:   raw.Either,
	}
	listed := len(v.Callouts) + len(v.Talk) + len(raw.Pronunciations) + len(v.Slots) + len(v.Either) + v.Around.size()
	if listed == 0 && v.LeadWord == "" {
		return nil, fmt.Errorf("%s:1: the vocabulary is empty: write callouts: [{id: ..., phrases: [...]}]", name)
	}
	if err := v.pronounce(name, raw.Pronunciations); err != nil {
		return nil, err
	}
	return v, v.check(name)
}

var (
	lineError = regexp.MustCompile(`^(?:yaml: )?(?:unmarshal errors:\s*)?(?:yaml: )?line (\d+): (.*)`)
	idForm    = regexp.MustCompile(`^[a-z0-9][a-z0-9_.-]{0,63}$`)
	wordForm  = regexp.MustCompile(`^[a-z']+$`)
	// unknownKey is how the library says that a key is none; of Go's types nobody wants to read.
	unknownKey = regexp.MustCompile(`field (.*) not found in type .*`)
	slotForm   = regexp.MustCompile(`^\{[a-z_]+\}$`)
)

func yamlError(name string, err error) error {
	if m := lineError.FindStringSubmatch(err.Error()); m != nil {
		return fmt.Errorf("%s:%s: %s", name, m[1], unknownKey.ReplaceAllString(m[2], `unknown key "$1"`))
	}
	return fmt.Errorf("%s: %s", name, strings.ReplaceAll(strings.TrimPrefix(err.Error(), "yaml: "), "\n", " "))
}

// pronounce accepts [AE K, EY K]: alternatives separated by commas, or one string.
func (v *Vocabulary) pronounce(name string, raw map[string]yaml.Node) error {
	v.Pronunciations, v.soundLines = map[string][]string{}, map[string]int{}
	for word, node := range raw {
		v.soundLines[strings.ToLower(word)] = node.Line
		var list []string
		if err := node.Decode(&list); err != nil {
			var one string
			if node.Decode(&one) != nil {
				return fmt.Errorf("%s:%d: pronunciation of %q: want [K AE T] or a list of such", name, node.Line, word)
			}
			list = []string{one}
		}
		for _, p := range list {
			phones := strings.Fields(p)
			for _, ph := range phones {
				if PhoneIndex(ph) <= 0 {
					return fmt.Errorf(
						"%s:%d: pronunciation of %q: unknown phone %q, known are %s",
						name,
						node.Line,
						word,
						ph,
						strings.Join(Phones[1:], " "),
					)
				}
			}
			if len(phones) == 0 || len(phones) > 40 {
				return fmt.Errorf("%s:%d: pronunciation of %q: want 1 to 40 phones", name, node.Line, word)
			}
		}
		v.Pronunciations[strings.ToLower(word)] = list
	}
	return nil
}

// clean lower-cases a phrase and drops the punctuation that people write.
func clean(s string) string {
	s = strings.ToLower(strings.ReplaceAll(s, "’", "'"))
	s = strings.Map(func(r rune) rune {
		if strings.ContainsRune(`,.;:!?"-`, r) {
			return ' '
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
}

func (c *Callout) checkMax() error {
	for slot, x := range c.Max {
		if !(x > 0 && x <= 9999) {
			return fmt.Errorf("callout %s: max of %s is %v, want above 0 to 9999", c.ID, slot, x)
		}
	}
	return nil
}

// check says what is wrong with a callout, and cleans its phrases.
func (c *Callout) check() error {
	whole := func(x float64) bool { return x >= 1 && x <= 999 && x == math.Floor(x) }
	switch {
	case !idForm.MatchString(c.ID):
		return fmt.Errorf("callout id %q: want lower-case letters, digits and dots", c.ID)
	case len(c.Phrases) == 0:
		return fmt.Errorf("callout %s has no phrases", c.ID)
	case len(c.Phrases) > 200:
		return fmt.Errorf("callout %s has more than 200 phrases", c.ID)
	case slices.ContainsFunc(c.Usual, func(x float64) bool { return !whole(x) }):
		return fmt.Errorf("callout %s: usual is %v, want whole numbers from 1 to 999", c.ID, c.Usual)
	case !(c.Confidence >= 0 && c.Confidence <= 1):
		return fmt.Errorf("callout %s: confidence is %v, want 0 to 1", c.ID, c.Confidence)
	}
	if err := c.checkMax(); err != nil {
		return err
	}
	for _, list := range [][]string{c.Phrases, c.Answers} {
		for k, p := range list {
			list[k] = clean(p)
			if err := checkPhrase(list[k]); err != nil {
				return fmt.Errorf("callout %s: %w", c.ID, err)
			}
		}
	}
	return nil
}

func (v *Vocabulary) check(name string) error {
	seen := map[string]int{}
	for i := range v.Callouts {
		c := &v.Callouts[i]
		if err := c.check(); err != nil {
			return fmt.Errorf("%s:%d: %w", name, c.Line, err)
		}
		if seen[c.ID] != 0 {
			return fmt.Errorf("%s:%d: callout %s stands already at line %d", name, c.Line, c.ID, seen[c.ID])
		}
		seen[c.ID] = c.Line
	}
	if err := v.checkTalk(name); err != nil {
		return err
	}
	if err := v.checkAround(name); err != nil {
		return err
	}
	for n, s := range v.Slots {
		if !(s.Min < s.Max) || s.Min < 0 || s.Max > 9999 {
			return fmt.Errorf("%s:%d: slot %s: want 0 <= min < max <= 9999", name, s.line, n)
		}
		if err := s.checkUnits(); err != nil {
			return fmt.Errorf("%s:%d: slot %s: %w", name, s.line, n, err)
		}
	}
	return nil
}

// slot is the name of the slot that a word of a phrase, {name}, stands for.
func (v *Vocabulary) slot(w string) (string, error) {
	name := strings.Trim(w, "{}")
	if _, ok := v.Slots[name]; !ok {
		return "", fmt.Errorf("unknown slot %s: define it under slots", w)
	}
	return name, nil
}

// checkSlots finds a slot of an overlay's phrases that nobody defined.
func (v *Vocabulary) checkSlots(name string, o *Vocabulary) error {
	for _, c := range o.Callouts {
		for _, p := range c.Phrases {
			for _, w := range strings.Fields(p) {
				if slotForm.MatchString(w) && w != "{n}" { // that one is borrowed
					if _, err := v.slot(w); err != nil {
						return fmt.Errorf("%s:%d: callout %s: %w", name, c.Line, c.ID, err)
					}
				}
			}
		}
	}
	return nil
}

// Confidence that a callout needs if its entry says nothing.
const DefaultConfidence = 0.6

// Need is the confidence that the callout needs.
func (c *Callout) Need() float64 {
	if c.Confidence != 0 {
		return c.Confidence
	}
	return DefaultConfidence
}

func (v *Vocabulary) find(id string) *Callout {
	for i := range v.Callouts {
		if v.Callouts[i].ID == id {
			return &v.Callouts[i]
		}
	}
	return nil
}

// Find returns the callout of an id, or nil.
func (v *Vocabulary) Find(id string) *Callout { return v.find(id) }

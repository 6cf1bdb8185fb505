package intents

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"fmt"
	"io"
	"sort"
	"strings"
	"sync"
)

// lexicon.gz is CMUdict as Debian's pocketsphinx-en-us carries it (BSD-2):
// see intents/train/README.md.
//
//go:embed lexicon.gz
var lexiconFile []byte

// Phones are the phones of CMUdict in the order of the acoustic model's
// outputs; index 0 is silence.
var Phones = strings.Fields(
	"SIL AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH",
)

// PhoneIndex returns the index of a phone in Phones, or -1.
func PhoneIndex(name string) int {
	for i, p := range Phones {
		if p == name {
			return i
		}
	}
	return -1
}

// dictionary is the lexicon as text, with the start of every line in the order
// of the words: a map of it would take eight times the memory.
type dictionary struct {
	text  string
	lines []int32
}

// word is the word at the start of a line, without the number of an
// alternative: word(2).
func (d *dictionary) word(line int32) string {
	word, _, _ := strings.Cut(d.text[line:], " ")
	if i := strings.IndexByte(word, '('); i > 0 {
		word = word[:i]
	}
	return word
}

// find returns the pronunciations of a word, phones parted by spaces.
func (d *dictionary) find(word string) []string {
	var out []string
	first := sort.Search(len(d.lines), func(i int) bool { return d.word(d.lines[i]) >= word })
	for i := first; i < len(d.lines) && d.word(d.lines[i]) == word; i++ {
		line, _, _ := strings.Cut(d.text[d.lines[i]:], "\n")
		_, phones, _ := strings.Cut(line, " ")
		out = append(out, phones)
	}
	return out
}

var lexicon = sync.OnceValues(func() (*dictionary, error) {
	z, err := gzip.NewReader(bytes.NewReader(lexiconFile))
	if err != nil {
		return nil, fmt.Errorf("embedded lexicon: %w", err)
	}
	b, err := io.ReadAll(z)
	if err != nil {
		return nil, fmt.Errorf("embedded lexicon: %w", err)
	}
	d := &dictionary{text: string(b)}
	for at, rest := 0, d.text; rest != ""; {
		line, next, _ := strings.Cut(rest, "\n")
		if strings.Contains(line, " ") {
			d.lines = append(d.lines, int32(at))
		}
		at, rest = at+len(line)+1, next
	}
	sort.SliceStable(d.lines, func(i, j int) bool { return d.word(d.lines[i]) < d.word(d.lines[j]) })
	return d, nil
})

// contracted says "epi's" as epi and an s: voiced after a voiced sound, with a vowel
// after a sibilant.
func (v *Vocabulary) contracted(word string, d *dictionary) (out []string) {
	base, ok := strings.CutSuffix(word, "'s")
	if !ok {
		return nil
	}
	list := v.Pronunciations[base]
	if len(list) == 0 {
		list = d.find(base)
	}
	for _, p := range list {
		end := " Z"
		switch p[strings.LastIndexByte(p, ' ')+1:] {
		case "S", "Z", "SH", "ZH", "CH", "JH":
			end = " IH Z"
		case "P", "T", "K", "F", "TH":
			end = " S"
		}
		out = append(out, p+end)
	}
	return out
}

// Pronounce returns the ways to say a word, each a list of phones: the
// vocabulary's own, or else the lexicon's. The error says how to add one.
func (v *Vocabulary) Pronounce(word string) ([][]string, error) {
	list := v.Pronunciations[word]
	if len(list) == 0 {
		d, err := lexicon()
		if err != nil {
			return nil, err
		}
		if list = d.find(word); len(list) == 0 {
			list = v.contracted(word, d)
		}
	}
	if len(list) == 0 {
		return nil, fmt.Errorf(
			"no pronunciation for %q: add one to the vocabulary, such as pronunciations: {%s: [K AE T]}",
			word,
			word,
		)
	}
	out := make([][]string, len(list))
	for i, p := range list {
		out[i] = strings.Fields(p)
	}
	return out, nil
}

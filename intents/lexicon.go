package intents

import (
	"bufio"
	"bytes"
	"compress/gzip"
	_ "embed"
	"fmt"
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
var Phones = strings.Fields("SIL AA AE AH AO AW AY B CH D DH EH ER EY F G HH IH IY JH K L M N NG OW OY P R S SH T TH UH UW V W Y Z ZH")

// PhoneIndex returns the index of a phone in Phones, or -1.
func PhoneIndex(name string) int {
	for i, p := range Phones {
		if p == name {
			return i
		}
	}
	return -1
}

var lexicon = sync.OnceValues(func() (map[string][]string, error) {
	z, err := gzip.NewReader(bytes.NewReader(lexiconFile))
	if err != nil {
		return nil, fmt.Errorf("embedded lexicon: %w", err)
	}
	m := make(map[string][]string, 140000)
	s := bufio.NewScanner(z)
	for s.Scan() {
		word, phones, ok := strings.Cut(s.Text(), " ")
		if !ok {
			continue
		}
		if i := strings.IndexByte(word, '('); i > 0 {
			word = word[:i] // an alternative: word(2)
		}
		m[word] = append(m[word], phones)
	}
	return m, s.Err()
})

// Pronounce returns the ways to say a word, each a list of phones: the
// vocabulary's own, or else the lexicon's. The error says how to add one.
func (v *Vocabulary) Pronounce(word string) ([][]string, error) {
	list := v.Pronunciations[word]
	if len(list) == 0 {
		m, err := lexicon()
		if err != nil {
			return nil, err
		}
		list = m[word]
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("no pronunciation for %q: add one to the vocabulary, such as pronunciations: {%s: [K AE T]}", word, word)
	}
	out := make([][]string, len(list))
	for i, p := range list {
		out[i] = strings.Fields(p)
	}
	return out, nil
}

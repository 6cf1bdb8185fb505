package intents

import (
	_ "embed"
	"fmt"
	"strings"
)

// lexicon is CMUdict as Debian's pocketsphinx-en-us carries it (BSD-2): see
// intents/train/README.md. Its lines stand in the order of their words, so that a word is
// found where they lie, in the program's own file: nothing is read or kept for it.
//
//go:embed lexicon.txt
var lexicon string

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

// entry is the word at the start of a line of the lexicon, without the number of an
// alternative: word(2).
func entry(line string) string {
	end := 1
	for line[end] != ' ' && line[end] != '(' {
		end++
	}
	return line[:end]
}

// find returns the pronunciations of a word in the lexicon, phones parted by spaces.
func find(word string) (out []string) {
	at, end := 0, len(lexicon) // the first line of the word begins between them
	for at < end {
		line := at + strings.LastIndexByte(lexicon[at:(at+end)/2], '\n') + 1
		if entry(lexicon[line:]) < word {
			at = line + strings.IndexByte(lexicon[line:], '\n') + 1
		} else {
			end = line
		}
	}
	for line := range strings.Lines(lexicon[at:]) {
		if entry(line) != word {
			break
		}
		_, phones, _ := strings.Cut(strings.TrimSuffix(line, "\n"), " ")
		out = append(out, phones)
	}
	return out
}

// contracted says "epi's" as epi and an s: voiced after a voiced sound, with a vowel
// after a sibilant.
func (v *Vocabulary) contracted(word string) (out []string) {
	base, ok := strings.CutSuffix(word, "'s")
	if !ok {
		return nil
	}
	list := v.Pronunciations[base]
	if len(list) == 0 {
		list = find(base)
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
		if list = find(word); len(list) == 0 {
			list = v.contracted(word)
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

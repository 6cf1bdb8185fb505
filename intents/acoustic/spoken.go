package acoustic

import (
	"slices"
	"strings"
)

// weak are the forms that function words take in running speech, where they are
// not in the lexicon (common practice; the forms are those of English phonetics
// courses, from memory).
var weak = map[string]string{
	"a": "AH", "and": "AH N|N|AE N", "are": "ER", "as": "AH Z", "at": "AH T", "can": "K AH N", "do": "D AH",
	"for": "F ER", "from": "F R AH M", "had": "HH AH D|AH D", "has": "HH AH Z|AH Z", "have": "HH AH V|AH V",
	"he": "IY", "her": "HH ER|ER", "him": "HH IH M|IH M", "his": "IH Z", "is": "Z", "of": "AH V|AH", "or": "ER",
	"that": "DH AH T", "the": "DH AH|DH IY", "them": "DH AH M|AH M", "to": "T AH|T IH", "was": "W AH Z",
	"will": "W AH L|AH L", "you": "Y AH", "your": "Y ER",
}

const (
	vowels    = "AA AE AH AO AW AY EH ER EY IH IY OW OY UH UW"
	fewPhones = 3 // a shorter word does not lose its last stop
)

// spoken is the pronunciations of a word and those that running speech makes of
// them: weak forms, a last t or d lost after a consonant, t lost after n before a
// vowel ("twenny"), -ing with n. The first word of a phrase is not worn down to one sound.
func spoken(word string, prons [][]string, first bool) [][]string {
	out := prons
	add := func(p []string) {
		if !slices.ContainsFunc(out, func(q []string) bool { return slices.Equal(p, q) }) {
			out = append(out[:len(out):len(out)], p)
		}
	}
	for form := range strings.SplitSeq(weak[word], "|") {
		if sounds := strings.Fields(form); len(sounds) > 1 || len(sounds) == 1 && !first {
			add(sounds)
		}
	}
	for _, p := range prons {
		for _, q := range clipped(p) {
			add(q)
		}
	}
	return out
}

// clipped is what haste makes of a pronunciation.
func clipped(p []string) (out [][]string) {
	vowel := func(p string) bool { return slices.Contains(strings.Fields(vowels), p) }
	n := len(p)
	if n <= fewPhones {
		return nil
	}
	switch last := p[n-1]; {
	case (last == "T" || last == "D") && !vowel(p[n-2]):
		out = append(out, p[:n-1])
	case last == "NG" && p[n-2] == "IH":
		out = append(out, append(slices.Clone(p[:n-1]), "N"))
	}
	for i := 1; i+1 < n; i++ {
		if p[i] == "T" && p[i-1] == "N" && vowel(p[i+1]) {
			out = append(out, slices.Delete(slices.Clone(p), i, i+1))
		}
	}
	return out
}

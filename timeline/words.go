package timeline

import (
	_ "embed"
	"maps"
	"regexp"
	"slices"
	"strings"
	"unicode"
)

//go:embed words.yaml
var wordsFile []byte

// wordSets are the words that take the place of others, by set.
var wordSets = func() map[string]map[string]string {
	var sets map[string]map[string]string
	if err := DecodeStrict("words.yaml", wordsFile, &sets); err != nil {
		panic(err) // that it is well formed is tested
	}
	return sets
}()

// WordSets lists the sets of words beside the American one.
func WordSets() []string { return slices.Sorted(maps.Keys(wordSets)) }

var letters = regexp.MustCompile(`[A-Za-z]+|\{[a-z_]+\}`)

// Reword puts the words of a set (Protocol.Words) in the place of others, capitals
// kept; slots stay as they are. The empty set changes nothing.
func Reword(set, text string) string {
	words := wordSets[set]
	if len(words) == 0 {
		return text
	}
	return letters.ReplaceAllStringFunc(text, func(w string) string {
		other, ok := words[strings.ToLower(w)]
		if !ok {
			return w
		}
		if r := []rune(other); unicode.IsUpper([]rune(w)[0]) {
			r[0] = unicode.ToUpper(r[0])
			return string(r)
		}
		return other
	})
}

// Words is the set of words of the session's protocol.
func (s *Session) Words() string {
	id, _, _ := strings.Cut(s.Protocol, " ")
	p, err := LoadProtocol(id)
	if err != nil {
		return "" // of another version, or a site's own
	}
	return p.Words
}

// ProtocolTitle is the title of the protocol that a session names by its id and hash, for people;
// one that is not at hand keeps its id.
func ProtocolTitle(named string) string {
	id, _, _ := strings.Cut(named, " ")
	if p, err := LoadProtocol(id); err == nil {
		return p.Title
	}
	return id
}

package main

import (
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"coxswain/audio"
	"coxswain/intents/acoustic"
	"coxswain/prompts"
	"coxswain/timeline"
)

// ownSentences are the sentences of cues.yaml but for read-backs, which repeat a callout, and
// for drill cases; each with two in the place of its numbers, and an item in that of a list.
func ownSentences(t *testing.T) (all []timeline.Cue) {
	t.Helper()
	b, err := os.ReadFile("../../prompts/cues.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var f struct{ Cues map[string]string }
	if err := yaml.Unmarshal(b, &f); err != nil {
		t.Fatal(err)
	}
	for id, text := range f.Cues {
		if readBack(id) {
			continue
		}
		c := timeline.Cue{ID: id, Values: map[string]float64{}}
		for _, m := range regexp.MustCompile(`\{([a-z_]+)\}`).FindAllStringSubmatch(text, -1) {
			c.Values[m[1]] = 2
		}
		if strings.Contains(text, "{items}") {
			c.Items = []string{"epinephrine"}
		}
		all = append(all, c)
	}
	slices.SortFunc(all, func(a, b timeline.Cue) int { return strings.Compare(a.ID, b.ID) })
	return all
}

// readBack reports whether a sentence repeats a callout, and does not ask for another.
func readBack(id string) bool {
	name, ok := strings.CutPrefix(id, "said.")
	for k := timeline.Kind(name); ok && k != ""; {
		if k.IsCallout() && k.Row().Words != "" {
			return !k.Row().Confirm
		}
		k = k[:max(0, strings.LastIndexByte(string(k), '.'))]
	}
	return false
}

// What coxswain says by itself contains no callout: its own voice that comes back too late
// for the canceller, or another coxswain's, was taken for the team, and the beat stopped.
func TestOwnSentencesAreNoCallouts(t *testing.T) {
	_, v := testConf(t)
	voice, err := prompts.NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	words := regexp.MustCompile(`[a-z']+|\{[a-z_]+\}`)
	plain := func(s string) string {
		return " " + strings.Join(words.FindAllString(strings.ToLower(s), -1), " ") + " "
	}
	number := regexp.MustCompile(`\{[a-z_]+\}`)
	sentences := ownSentences(t)
	if len(sentences) < 250 {
		t.Fatalf("only %d sentences", len(sentences))
	}
	for _, c := range sentences {
		said := plain(voice.Sentence(c))
		for _, callout := range v.Callouts {
			for _, p := range callout.Phrases {
				if strings.Contains(said, number.ReplaceAllString(plain(p), "two")) {
					t.Errorf("%s: %q has the words of %s, %q", c.ID, voice.Sentence(c), callout.ID, p)
				}
			}
		}
	}
}

// The sentences that were once heard as a callout, though some have none of its words, are
// heard as none, in our own voice and with nothing else in the room.
func TestOwnVoiceIsHeardAsNoCallout(t *testing.T) {
	_, v := testConf(t)
	voice, err := prompts.NewVoice("")
	if err != nil {
		t.Fatal(err)
	}
	rec, err := acoustic.New(v)
	if err != nil {
		t.Fatal(err)
	}
	var sound []float64
	quiet := make([]float64, audio.Rate*7/10)
	for _, id := range []string{"cycle.end", "said.pulse.lost", "refractory.vector.short", "shock.open", "next.same",
		"confirmed.undo", "cycle.soon.pulse", "question.ecmo", "said.code.end", "said.death"} {
		s := voice.Speak(timeline.Cue{ID: id})
		both := make([][2]float64, s.Len())
		s.Stream().Stream(both)
		sound = append(sound, quiet...)
		for _, x := range both {
			sound = append(sound, x[0])
		}
	}
	sound = append(sound, quiet...)
	down, heard := audio.NewDecimator(audio.Block), make([]int16, audio.Block/3)
	for i := 0; i+audio.Block <= len(sound); i += audio.Block {
		var block [audio.Block]float32
		for k := range block {
			block[k] = float32(sound[i+k]) / 2
		}
		for k, x := range down.Process(block[:]) {
			heard[k] = audio.PCM16(x)
		}
		results, err := rec.Hear(heard)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range results {
			if r.Confidence >= v.Find(r.Callout).Need() && r.Forbidden == "" {
				t.Errorf("heard at %.1f s: %s, %q, %.2f", float64(i)/audio.Rate, r.Callout, r.Text, r.Confidence)
			}
		}
	}
}

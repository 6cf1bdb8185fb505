package main

import (
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"coxswain/intents"
)

// spoken is what flite says of a text, 16 kHz mono, with a second of near
// silence on each side.
func spoken(t *testing.T, text string) []int16 {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x.wav")
	if b, err := exec.Command("flite", "-voice", "slt", "-t", text, "-o", path).CombinedOutput(); err != nil {
		t.Fatalf("flite: %v: %s", err, b)
	}
	b, err := os.ReadFile(path)
	if err != nil || len(b) < 44 || binary.LittleEndian.Uint32(b[24:]) != intents.Rate {
		t.Fatalf("flite wrote %d bytes: %v", len(b), err)
	}
	pcm := make([]int16, intents.Rate, len(b)/2+2*intents.Rate)
	for b = b[44:]; len(b) > 1; b = b[2:] {
		pcm = append(pcm, int16(binary.LittleEndian.Uint16(b)))
	}
	pcm = append(pcm, make([]int16, intents.Rate)...)
	for i := range pcm {
		pcm[i] += int16(i*7919%13) - 6
	}
	return pcm
}

// The plug-in hears what a voice says, with its number and where it was said,
// and takes silence and talk for nothing. The same samples in other pieces give
// the same.
func TestPocketSphinxHears(t *testing.T) {
	if _, err := os.Stat(model); err != nil {
		t.Skip("no acoustic model: `make test` installs pocketsphinx-en-us")
	}
	if _, err := exec.LookPath("flite"); err != nil {
		t.Skip("no flite: `make test` installs it")
	}
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		text, callout, slot string
		value               float64
	}{
		{text: "rhythm check", callout: "rhythm.check"},
		{text: "resume compressions", callout: "compressions.start"},
		{text: "shock delivered two hundred joules", callout: "shock.given", slot: "energy_j", value: 200},
		{text: ""},
		{text: "the weather will be rather pleasant on thursday afternoon"},
	} {
		pcm := make([]int16, 2*intents.Rate)
		if c.text != "" {
			pcm = spoken(t, c.text)
		}
		whole := hears(t, v, pcm, len(pcm))
		if c.callout == "" {
			if len(whole) != 0 {
				t.Errorf("%q is taken for %+v", c.text, whole)
			}
			continue
		}
		if len(whole) != 1 || whole[0].Callout != c.callout || whole[0].Values[c.slot] != c.value {
			t.Errorf("%q is heard as %+v", c.text, whole)
			continue
		}
		r := whole[0]
		if r.Start < intents.Rate/2 || r.Start >= r.End || r.End > r.Decided || r.Decided > int64(len(pcm)) || r.Confidence < 0.5 ||
			r.Confidence > 1 {
			t.Errorf("%q: positions or confidence of %+v in %d samples", c.text, r, len(pcm))
		}
		if c.slot == "" {
			continue // one in pieces is enough: each decoder takes a second to start
		}
		if pieces := hears(t, v, pcm, 777); len(pieces) != 1 || pieces[0].Callout != r.Callout || pieces[0].Start != r.Start ||
			pieces[0].End != r.End {
			t.Errorf("%q in pieces is heard as %+v, at once as %+v", c.text, pieces, r)
		}
	}
}

// hears feeds samples in pieces of a size and returns all results.
func hears(t *testing.T, v *intents.Vocabulary, pcm []int16, size int) (all []intents.Result) {
	t.Helper()
	r, err := newRecogniser(v)
	if err != nil {
		t.Fatal(err)
	}
	for len(pcm) > 0 {
		n := min(size, len(pcm))
		results, err := r.Hear(pcm[:n])
		if err != nil {
			t.Fatal(err)
		}
		all, pcm = append(all, results...), pcm[n:]
	}
	last, err := r.Close()
	if err != nil {
		t.Fatal(err)
	}
	return append(all, last...)
}

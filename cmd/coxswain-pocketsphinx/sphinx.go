package main

/*
#cgo pkg-config: pocketsphinx sphinxbase
#include <pocketsphinx.h>
#include <stdlib.h>

static cmd_ln_t *config(const char *hmm, const char *dict) {
	return cmd_ln_init(NULL, ps_args(), TRUE, "-hmm", hmm, "-dict", dict,
		"-logfn", "/dev/null", "-remove_silence", "no", NULL);
}
*/
import "C"

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"unsafe"

	"coxswain/intents"
)

// model is where Debian's pocketsphinx-en-us keeps its acoustic model.
const model = "/usr/share/pocketsphinx/model/en-us/en-us"

// decoder is one PocketSphinx decoder with two searches: "callouts", the
// vocabulary's grammar, and "filler", a free loop of phones that any speech
// fits. The ratio of their likelihoods is what tells a callout from talk.
type decoder struct{ ps *C.ps_decoder_t }

func newDecoder(v *intents.Vocabulary) (*decoder, error) {
	if _, err := os.Stat(model); err != nil {
		return nil, fmt.Errorf("no acoustic model at %s: apt-get install pocketsphinx-en-us", model)
	}
	phrases, err := v.Compile()
	if err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "coxswain-ps")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)
	dict := filepath.Join(dir, "words.dict")
	if err := writeDict(dict, v, phrases); err != nil {
		return nil, err
	}
	h, d := C.CString(model), C.CString(dict)
	defer C.free(unsafe.Pointer(h))
	defer C.free(unsafe.Pointer(d))
	ps := C.ps_init(C.config(h, d))
	if ps == nil {
		return nil, fmt.Errorf("PocketSphinx does not start with the model at %s", model)
	}
	for name, g := range map[string]string{"callouts": grammar(v, phrases), "filler": filler()} {
		n, t := C.CString(name), C.CString(g)
		bad := C.ps_set_jsgf_string(ps, n, t) != 0
		C.free(unsafe.Pointer(n))
		C.free(unsafe.Pointer(t))
		if bad {
			return nil, fmt.Errorf("PocketSphinx does not take the %s grammar", name)
		}
	}
	return &decoder{ps}, nil
}

// search decodes one utterance and returns the words and the log likelihood.
func (d *decoder) search(name string, pcm []int16) (string, float64) {
	n := C.CString(name)
	defer C.free(unsafe.Pointer(n))
	C.ps_set_search(d.ps, n)
	if C.ps_start_utt(d.ps) != 0 {
		return "", 0
	}
	C.ps_process_raw(d.ps, (*C.int16)(unsafe.Pointer(&pcm[0])), C.size_t(len(pcm)), 0, 1)
	C.ps_end_utt(d.ps)
	var score C.int32
	hyp := C.ps_get_hyp(d.ps, &score)
	if hyp == nil {
		return "", -1e12
	}
	// PocketSphinx's scores are logs to the base 1.0001, shifted right by 10 bits.
	return C.GoString(hyp), float64(score) * 1024 * math.Log(1.0001)
}

// phoneWord is the dictionary's name for a bare phone.
func phoneWord(p string) string { return "ph" + strings.ToLower(p) }

// writeDict writes the pronunciations of all words that the grammar can say.
func writeDict(path string, v *intents.Vocabulary, phrases []intents.Phrase) error {
	seen := map[string]bool{}
	var b strings.Builder
	add := func(w string) error {
		if w == "" || seen[w] {
			return nil
		}
		seen[w] = true
		prons, err := v.Pronounce(w)
		if err != nil {
			return err
		}
		for i, p := range prons {
			name := w
			if i > 0 {
				name = fmt.Sprintf("%s(%d)", w, i+1)
			}
			fmt.Fprintf(&b, "%s %s\n", name, strings.Join(p, " "))
		}
		return nil
	}
	var walk func(e intents.Expr) error
	walk = func(e intents.Expr) error {
		if e.Op == intents.Word {
			return add(e.Text)
		}
		for _, k := range e.Kids {
			if err := walk(k); err != nil {
				return err
			}
		}
		return nil
	}
	for _, p := range phrases {
		for _, part := range p.Parts {
			var err error
			if part.Word != "" {
				err = add(part.Word)
			} else {
				err = walk(intents.NumberExpr(v.Slots[part.Slot]))
			}
			if err != nil {
				return err
			}
		}
	}
	for _, p := range intents.Phones[1:] {
		fmt.Fprintf(&b, "%s %s\n", phoneWord(p), p)
	}
	return os.WriteFile(path, []byte(b.String()), 0o600)
}

// grammar is the vocabulary as JSGF; phrase n is rule <pn>.
func grammar(v *intents.Vocabulary, phrases []intents.Phrase) string {
	var b strings.Builder
	b.WriteString("#JSGF V1.0;\ngrammar callouts;\n")
	for name, s := range v.Slots {
		fmt.Fprintf(&b, "<%s> = %s;\n", name, jsgf(intents.NumberExpr(s)))
	}
	var all []string
	for _, p := range phrases {
		var w []string
		for _, part := range p.Parts {
			if part.Word != "" {
				w = append(w, part.Word)
			} else {
				w = append(w, "<"+part.Slot+">")
			}
		}
		all = append(all, strings.Join(w, " "))
	}
	fmt.Fprintf(&b, "public <callout> = %s;\n", strings.Join(all, "\n | "))
	return b.String()
}

func jsgf(e intents.Expr) string {
	switch {
	case e.Op == intents.Word && e.Text == "":
		return "<NULL>"
	case e.Op == intents.Word:
		return e.Text
	}
	var parts []string
	for _, k := range e.Kids {
		parts = append(parts, jsgf(k))
	}
	sep := " "
	if e.Op == intents.Alt {
		sep = " | "
	}
	return "(" + strings.Join(parts, sep) + ")"
}

func filler() string {
	var w []string
	for _, p := range intents.Phones[1:] {
		w = append(w, phoneWord(p))
	}
	return "#JSGF V1.0;\ngrammar filler;\npublic <filler> = (" + strings.Join(w, " | ") + ")+;\n"
}

package acoustic

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"coxswain/intents"
)

func TestScratch(t *testing.T) {
	v, err := intents.LoadVocabulary()
	if err != nil {
		t.Fatal(err)
	}
	for i := range v.Callouts {
		v.Callouts[i].Confidence = 0
	}
	out, _ := os.Create(os.Getenv("TRACE"))
	files, _ := filepath.Glob(os.Getenv("WAVS"))
	for _, f := range files {
		r, err := NewTraced(v, func(r intents.Result, ft []float64) {
			b, _ := json.Marshal(map[string]any{"file": filepath.Base(f), "r": r, "f": ft})
			fmt.Fprintln(out, string(b))
		})
		if err != nil {
			t.Fatal(err)
		}
		b, _ := os.ReadFile(f)
		b = b[44:]
		pcm := make([]int16, len(b)/2)
		for i := range pcm {
			pcm[i] = int16(binary.LittleEndian.Uint16(b[2*i:]))
		}
		if os.Getenv("DUMP") != "" {
			rr := r.(*Recogniser)
			rr.Trace = nil
			n := newNet(rr.net.w)
			m := newLogMel()
			k := 0
			m.push(pcm, func(mel []float32) {
				n.push(mel, func(lp []float32) {
					var top []string
					for p := range lp {
						if lp[p] > -2 {
							top = append(top, fmt.Sprintf("%s%.1f", intents.Phones[p], lp[p]))
						}
					}
					fmt.Printf("%.2f %s\n", float64(k-lookahead)*.02, strings.Join(top, " "))
					k++
				})
			})
			continue
		}
		r.Hear(pcm)
	}
}

package acoustic

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"sync"
)

// Voice is what a rehearsal learned of a voice in its room: what each net adds to the sums of
// its first layer and to the logits of its phones, in ten thousandths. Numbers only: no sound
// can be made from them.
type Voice struct {
	Format  int     `json:"format"`
	Made    string  `json:"made"`    // day, RFC 3339
	Nets    string  `json:"nets"`    // fingerprint of the nets that it was learned with
	Phrases int     `json:"phrases"` // that it was learned from
	Hidden  [][]int `json:"hidden"`  // by net and sum of its first layer
	Phones  [][]int `json:"phones"`  // by net and phone
}

const (
	voiceFormat = 1
	voiceUnit   = 1e-4
	mostHidden  = 500     // units that a profile may add to a sum of the first layer
	mostPhones  = 2500    // and to the logit of a phone: ten times what a rehearsal learns
	mostVoice   = 1 << 16 // bytes
)

// fingerprint tells nets from others: the beginning of their SHA-256.
var fingerprint = sync.OnceValues(func() (string, error) {
	h := sha256.New()
	files, err := netFiles()
	for _, file := range files {
		io.WriteString(h, file)
	}
	return hex.EncodeToString(h.Sum(nil))[:12], err
})

// ParseVoice reads a voice profile. One of another format or of other nets, and one whose
// numbers a rehearsal cannot have made, is refused with what to do.
func ParseVoice(b []byte) (*Voice, error) {
	m, err := shared()
	if err != nil {
		return nil, err
	}
	nets, err := fingerprint()
	if err != nil {
		return nil, err
	}
	v := &Voice{}
	d := json.NewDecoder(bytes.NewReader(b))
	if len(b) > mostVoice || d.Decode(v) != nil || d.More() || v.Format != voiceFormat {
		return nil, fmt.Errorf("not a voice profile of format %d: make one with coxswain rehearse --keep FILE", voiceFormat)
	}
	if v.Nets != nets {
		return nil, fmt.Errorf("made with other nets (%.12q, these are %s): rehearse again", v.Nets, nets)
	}
	if !v.fits(m.nets) {
		return nil, fmt.Errorf("its numbers are not those of a voice profile: rehearse again")
	}
	return v, nil
}

// fits reports whether there is a number in its bounds for each place.
func (v *Voice) fits(nets []*weights) bool {
	within := func(row []int, n, most int) bool {
		for _, x := range row {
			if x < -most || x > most {
				return false
			}
		}
		return len(row) == n
	}
	ok := len(v.Hidden) == len(nets) && len(v.Phones) == len(nets)
	for k, w := range nets {
		ok = ok && within(v.Hidden[k], len(w.fb), mostHidden) && within(v.Phones[k], len(w.ob), mostPhones)
	}
	return ok
}

// Bytes is the profile as its file has it: JSON, a row of numbers a line.
func (v *Voice) Bytes() []byte {
	rows := func(m [][]int) string {
		var out []string
		for _, row := range m {
			b, _ := json.Marshal(row) // integers
			out = append(out, "    "+string(b))
		}
		return "[\n" + strings.Join(out, ",\n") + "\n  ]"
	}
	const layout = `{
  "format": %d,
  "made": %q,
  "nets": %q,
  "phrases": %d,
  "hidden": %s,
  "phones": %s
}
`
	return fmt.Appendf(nil, layout, v.Format, v.Made, v.Nets, v.Phrases, rows(v.Hidden), rows(v.Phones))
}

// on are the nets as they hear this voice.
func (v *Voice) on(nets []*weights) (out []*weights) {
	added := func(bias []float32, more []int) []float32 {
		sum := make([]float32, len(bias))
		for i := range bias {
			sum[i] = bias[i] + float32(more[i])*voiceUnit
		}
		return sum
	}
	for k, w := range nets {
		own := *w
		own.fb, own.ob = added(w.fb, v.Hidden[k]), added(w.ob, v.Phones[k])
		out = append(out, &own)
	}
	return out
}

// UseVoice implements intents.Voiced: the profile is that of ParseVoice.
func (r *Recogniser) UseVoice(profile []byte) error {
	v, err := ParseVoice(profile)
	if err != nil {
		return fmt.Errorf("voice profile: %w", err)
	}
	r.nets = newEnsemble(v.on(r.model.nets))
	return nil
}

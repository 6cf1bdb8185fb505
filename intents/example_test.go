package intents_test

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"os"

	"coxswain/intents"
)

// knock is a recogniser that takes the first loud sound for a note.
type knock struct{ heard, at int64 }

// Hear implements intents.Recogniser.
func (k *knock) Hear(pcm []int16) ([]intents.Result, error) {
	for i, x := range pcm {
		if at := k.heard + int64(i); x > 20000 && k.at == 0 {
			k.at, k.heard = at, k.heard+int64(len(pcm))
			return []intents.Result{{Callout: "note", Text: "knock", Confidence: 1, Start: at, End: at + 1, Decided: k.heard}}, nil
		}
	}
	k.heard += int64(len(pcm))
	return nil, nil
}

// Close implements intents.Recogniser.
func (k *knock) Close() ([]intents.Result, error) { return nil, nil }

// A plug-in is Serve and a recogniser. coxswain starts it and writes the
// vocabulary and the samples to its standard input; here a buffer does.
func ExampleServe() {
	v, err := intents.LoadVocabulary()
	if err != nil {
		fmt.Println(err)
		return
	}
	var in bytes.Buffer
	json.NewEncoder(&in).Encode(map[string]any{"coxswain": 1, "rate": intents.Rate, "format": "s16le", "report": 1600, "vocabulary": v})
	sound := make([]int16, 1600) // 0.1 s
	sound[500] = 30000
	binary.Write(&in, binary.LittleEndian, sound)

	newKnock := func(*intents.Vocabulary) (intents.Recogniser, error) { return &knock{}, nil }
	if err := intents.Serve("knock 1.0", newKnock, &in, os.Stdout); err != nil {
		fmt.Println(err)
	}
	// Output:
	// {"ready":"knock 1.0"}
	// {"result":{"callout":"note","text":"knock","values":null,"confidence":1,"start":500,"end":501,"decided":640}}
	// {"heard":640}
	// {"heard":1600}
}

package intents

// Rate is the sample rate in Hz that every recogniser hears: mono, 16 bits.
const Rate = 16000

// Result is a callout that a recogniser heard. Positions are samples at Rate
// since the recogniser began.
type Result struct {
	Callout    string             `json:"callout"`
	Text       string             `json:"text"`   // the words as they were understood
	Values     map[string]float64 `json:"values"` // slot name to number
	Confidence float64            `json:"confidence"`
	Start      int64              `json:"start"`   // first sample of the phrase
	End        int64              `json:"end"`     // sample after its last sound
	Decided    int64              `json:"decided"` // samples heard when it was decided
	// Open leaves the decision to the listener, who knows the case: the phrase may have
	// been said, with Confidence. A result that is not open was decided.
	Open bool `json:"open,omitempty"`
	// Need is the confidence that the recogniser itself would ask for; 0: the callout's.
	Need float64 `json:"need,omitempty"`
	// Answer says that the phrase counts only as an answer to a question, or, of a time, right
	// behind what happened then, and of an amount right behind the drug that was called without one.
	Answer bool `json:"answer,omitempty"`
	// Forbidden says why words in the same breath make it no callout: a negation, a
	// question. Empty: they do not.
	Forbidden string `json:"forbidden,omitempty"`
	// When is the time that was told behind it, in words: "two minutes ago". Empty: now.
	When string `json:"when,omitempty"`
	// Rivals are other callouts that the same sound may have been.
	Rivals []Rival `json:"rivals,omitempty"`
}

// Rival is another callout that may have been said instead.
type Rival struct {
	Callout    string             `json:"callout"`
	Text       string             `json:"text"`
	Values     map[string]float64 `json:"values"`
	Confidence float64            `json:"confidence"`
}

// Voiced is a recogniser that can be told whose voice it will hear, before it hears anything.
type Voiced interface {
	// UseVoice takes a voice profile; see coxswain rehearse.
	UseVoice(profile []byte) error
}

// Candid is a recogniser that can leave decisions to its listener. Once told to, it
// returns open results for all that may have been said.
type Candid interface {
	Recogniser
	LeaveOpen()
}

// A Recogniser hears a stream of samples at Rate.
//
// Hear takes the next samples (any number; it must not keep the slice) and
// returns what it decided with them, in the order of Decided: usually nothing.
// The same samples give the same results, however they are cut into calls.
// Close ends the stream and returns what was still undecided.
//
// A Recogniser is for one goroutine. It decides for itself what is loud
// enough, sure enough and no callout; the caller trusts each Result.
type Recogniser interface {
	Hear(pcm []int16) ([]Result, error)
	Close() ([]Result, error)
}

// Maker builds a recogniser for a vocabulary.
type Maker func(*Vocabulary) (Recogniser, error)

// Scripted is a recogniser for tests: it "hears" the given results when their
// Decided samples have gone by.
type Scripted struct {
	Results []Result
	heard   int64
}

// Hear implements Recogniser.
func (s *Scripted) Hear(pcm []int16) ([]Result, error) {
	s.heard += int64(len(pcm))
	n := 0
	for n < len(s.Results) && s.Results[n].Decided <= s.heard {
		n++
	}
	out := s.Results[:n:n]
	s.Results = s.Results[n:]
	return out, nil
}

// Close implements Recogniser.
func (s *Scripted) Close() ([]Result, error) { return nil, nil }

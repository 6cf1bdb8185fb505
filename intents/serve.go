package intents

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// hopSamples is how often a served recogniser reports progress: 20 ms.
const hopSamples = Rate / 50

// hello is the first line on a plug-in's standard input.
type hello struct {
	Coxswain   int         `json:"coxswain"` // version of this protocol
	Rate       int         `json:"rate"`
	Format     string      `json:"format"`
	Report     int64       `json:"report"` // samples between "heard" lines that are wanted
	Vocabulary *Vocabulary `json:"vocabulary"`
	Open       bool        `json:"open"` // results may be left open
	// Voice is the profile of the voice that will be heard; none: of nobody in particular.
	Voice json.RawMessage `json:"voice,omitempty"`
}

// prepare tells a recogniser how it will be listened to, and whom it will hear.
func (h hello) prepare(r Recogniser) error {
	if c, ok := r.(Candid); ok && h.Open {
		c.LeaveOpen()
	}
	if c, ok := r.(Voiced); ok && len(h.Voice) > 0 {
		return c.UseVoice(h.Voice)
	}
	return nil
}

// message is a line on a plug-in's standard output: exactly one of its parts.
type message struct {
	Ready  string  `json:"ready,omitempty"`
	Heard  int64   `json:"heard,omitempty"`
	Result *Result `json:"result,omitempty"`
	Error  string  `json:"error,omitempty"`
}

// Serve makes a recogniser a plug-in process. It speaks this protocol, which
// a plug-in in any language can speak as well:
//
// Standard input: one line of JSON,
//
//	{"coxswain":1,"rate":16000,"format":"s16le","report":1600,"vocabulary":{...}}
//
// then samples without any framing, 16 kHz mono signed 16-bit little endian,
// until end of file. "vocabulary" has the fields of type Vocabulary: slots,
// pronunciations (as phones of CMUdict), callouts with their phrases.
//
// With "open":true in it, results may be left open: see below. "voice" is the profile of
// the voice that will be heard (see coxswain rehearse), for a recogniser that takes one.
//
// Standard output: JSON lines, flushed one by one,
//
//	{"ready":"name and version"}      once, before any other
//	{"heard":32000}                   samples consumed so far; every "report" samples
//	{"result":{"callout":"shock.given","text":"shock delivered two hundred joules",
//	  "values":{"energy_j":200},"confidence":0.93,"start":20000,"end":31200,"decided":32000}}
//	{"error":"one line"}              before giving up
//
// A plug-in that says no more has decided: each result becomes an event. One that
// leaves the decision to coxswain, which knows the case, adds to a result
//
//	"open":true, "need":0.6, "forbidden":"question", "when":"two minutes ago",
//	"rivals":[{"callout":"drug.atropine","text":"atropine given","values":{},"confidence":0.4}]
//
// all but "open" optional: what it would ask for itself, why the words around it make it
// no callout, the time that was told with it, and what else it may have been: the same callout
// with another number, if it cannot tell the two. Then all that may have been said is
// worth a line, from a confidence of about 0.2.
//
// A result comes before the "heard" line that reaches its "decided". At end of
// file the plug-in reports what is left and exits with 0. Lines of other
// shapes, or longer than 64 KiB, count as a fault: the daemon kills the
// plug-in and starts it again. Standard error goes to the daemon's log.
func Serve(name string, make Maker, in io.Reader, out io.Writer) error {
	w := bufio.NewWriter(out)
	say := func(m message) error {
		b, err := json.Marshal(m)
		if err != nil {
			return err
		}
		w.Write(append(b, '\n'))
		return w.Flush()
	}
	br := bufio.NewReaderSize(in, 1<<20)
	first, err := br.ReadSlice('\n')
	if err != nil {
		return fmt.Errorf("no hello line on standard input: this program is started by coxswain: %w", err)
	}
	var h hello
	if err := json.Unmarshal(first, &h); err != nil || h.Coxswain != 1 || h.Rate != Rate || h.Format != "s16le" ||
		h.Vocabulary == nil {
		say(message{Error: "unknown hello line"})
		return errors.New("unknown hello line on standard input: this program is started by coxswain")
	}
	r, err := make(h.Vocabulary)
	if err != nil {
		say(message{Error: err.Error()})
		return err
	}
	if err := h.prepare(r); err != nil {
		say(message{Error: err.Error()})
		return err
	}
	if err := say(message{Ready: name}); err != nil {
		return err
	}
	return serveStream(r, br, say, max(h.Report, hopSamples))
}

// serveStream reports progress every so many samples, and with every result.
func serveStream(r Recogniser, in io.Reader, say func(message) error, report int64) error {
	buf := make([]byte, 2*hopSamples)
	pcm := make([]int16, hopSamples)
	var heard, told int64
	for {
		n, rerr := io.ReadFull(in, buf)
		for i := range pcm[:n/2] {
			pcm[i] = int16(binary.LittleEndian.Uint16(buf[2*i:]))
		}
		results, err := r.Hear(pcm[:n/2])
		if err != nil {
			say(message{Error: err.Error()})
			return err
		}
		heard += int64(n / 2)
		if rerr != nil {
			last, err := r.Close()
			if err != nil {
				return err
			}
			results = append(results, last...)
		}
		for i := range results {
			if err := say(message{Result: &results[i]}); err != nil {
				return err
			}
		}
		if heard-told >= report || len(results) > 0 || rerr != nil {
			told = heard
			if err := say(message{Heard: heard}); err != nil {
				return err
			}
		}
		if rerr != nil {
			return nil
		}
	}
}

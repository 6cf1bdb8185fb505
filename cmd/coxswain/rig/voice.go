package rig

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"

	"coxswain/audio/device"
	"coxswain/audio/recorder"
	"coxswain/cmd/coxswain/config"
	"coxswain/intents"
	"coxswain/intents/acoustic"
	"coxswain/timeline"
)

// mostOpening bounds the first line of a journal.
const mostOpening = 1 << 20

// VoiceProfile is the voice profile that is configured, or nil: one that cannot be used costs a
// line, never the session.
func VoiceProfile(c *config.Config, log io.Writer) []byte {
	if c.Profile == "" {
		return nil
	}
	b, err := ReadVoice(c.Profile)
	if err != nil {
		fmt.Fprintf(log, "coxswain: without the voice profile: %s: %v\n", c.Profile, err)
	}
	return b
}

// ReadVoice reads a voice profile from its file, or from the journal of a record that was made
// with one.
func ReadVoice(path string) ([]byte, error) {
	f, err := recorder.OpenNamed(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, mostOpening))
	if err != nil {
		return nil, err
	}
	first, _, _ := bytes.Cut(b, []byte("\n"))
	var opening timeline.Event
	if json.Unmarshal(first, &opening) == nil && opening.Session != nil {
		if b = opening.Session.Voice; len(b) == 0 {
			return nil, fmt.Errorf("this record was made without a voice profile")
		}
	}
	_, err = acoustic.ParseVoice(b)
	if err != nil {
		return nil, err
	}
	return b, nil
}

// openEar starts the recogniser of a live session, with the voice profile that it hears with.
func (r Rig) openEar(v *intents.Vocabulary, log io.Writer) (*intents.Process, []byte, error) {
	if err := device.Room(); err != nil { // the recogniser would say something else of it
		return nil, nil, err
	}
	o := intents.ProcessOptions{Vocabulary: v, Voice: VoiceProfile(r.Config, log), Open: true, Stderr: log}
	ear, err := StartPlugIn(r.Recogniser, o)
	return ear, o.Voice, err
}

// Package ready finds out before use whether everything that a session needs is
// there: sound, recogniser, disk, clock, protocol, backup.
package ready

import (
	"context"
	_ "embed"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"coxswain/audio"
	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/monitor"
	"coxswain/cmd/coxswain/rig"
	"coxswain/cmd/coxswain/session"
	"coxswain/intents"
	"coxswain/prompts"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// selfTest says "we have IV access": flite, voice cmu_us_rms (free licence),
// 16 kHz.
//
//go:embed selftest.wav
var selfTest []byte

// Finding is the result of one check.
type Finding struct {
	Name   string `json:"check"`
	Result string `json:"result"` // pass, fail or skip
	Detail string `json:"detail"`
}

// Options say what to check for.
type Options struct {
	Hours        float64       // of session that the disk must hold
	BackupWithin time.Duration // how old the last backup may be
	NoSound      bool          // leave out what needs the sound device
}

// Check checks everything that a session needs.
func Check(c *config.Config, o Options) []Finding {
	var out []Finding
	add := func(name string, detail string, err error) {
		if err != nil {
			out = append(out, Finding{name, "fail", err.Error()})
			return
		}
		out = append(out, Finding{name, "pass", detail})
	}
	p, err := rig.Protocol(c)
	detail := ""
	if err == nil {
		detail = p.ID + " " + p.Hash
	}
	add("protocol", detail, err)
	v, err := intents.LoadVocabulary(c.Vocabulary...)
	if err == nil {
		detail = fmt.Sprintf("%d callouts", len(v.Callouts))
	}
	add("vocabulary", detail, err)
	if err == nil {
		detail, err = checkRecogniser(c, v)
		add("recogniser", detail, err)
	}
	if err := rig.Named(c); err != nil {
		add("settings", "", err)
	} else {
		add("settings", "every file, folder, program and device that they name is there", nil)
	}
	detail, err = checkDisk(c.Folder, o.Hours)
	add("disk", detail, err)
	detail, err = monitor.CheckClock()
	add("clock", detail, err)
	detail, err = checkBackup(c.Folder, o.BackupWithin)
	add("backup", detail, err)
	if c.Store != "" {
		detail, err = checkStore(c)
		add("store", detail, err)
	}
	for _, path := range []string{c.SignKey, c.StoreCreds} {
		if err := keptPrivate(path); err != nil {
			add("keys", "", err)
		}
	}
	if o.NoSound {
		return append(out, Finding{"sound", "skip", "left out by --no-sound"})
	}
	return append(out, checkSound(c)...)
}

// keptPrivate tells that a secret file is open to others; no file is none.
func keptPrivate(path string) error {
	if st, err := os.Stat(path); err == nil && st.Mode().Perm()&0o077 != 0 {
		return fmt.Errorf("%s: others on this machine can read this secret (%v): chmod 600 %s", path, st.Mode().Perm(), path)
	}
	return nil
}

// checkStore asks the hospital's store, as what sends records would.
func checkStore(c *config.Config) (string, error) {
	o, err := rig.Rig{Config: c}.Outbox()
	if err == nil {
		err = o.Store.Reach(context.Background())
	}
	return "answers, and takes records of room " + o.Room, err
}

// checkRecogniser plays a built-in phrase to the configured recogniser.
func checkRecogniser(c *config.Config, v *intents.Vocabulary) (string, error) {
	ear, err := rig.StartPlugIn(
		c.Recogniser,
		intents.ProcessOptions{Vocabulary: v, Lockstep: true, Patience: 10 * time.Second, Stderr: os.Stderr},
	)
	if err != nil {
		return "", err
	}
	clip, err := audio.LoadClip("self-test", selfTest)
	if err != nil {
		return "", err
	}
	r := rand.New(rand.NewPCG(1, 1))
	room := make([]float32, len(clip)+3*audio.Rate)
	for i := range room {
		room[i] = float32(r.NormFloat64() * 0.001)
	}
	for i, x := range clip {
		room[audio.Rate+i] += x
	}
	l, err := session.NewListener(false, 0)
	if err != nil {
		return "", err
	}
	var heard []intents.Result
	for i := 0; i+audio.Block <= len(room); i += audio.Block {
		h, faults := ear.Hear(l.Hear(room[i:i+audio.Block], nil))
		if heard = append(heard, h...); len(faults) > 0 {
			ear.Close()
			return "", fmt.Errorf("%s", faults[0])
		}
	}
	heard = append(heard, ear.Close()...)
	if len(heard) != 1 || heard[0].Callout != "access.iv" {
		return "", fmt.Errorf("%s does not understand the built-in phrase \"we have IV access\"", ear.Name())
	}
	return fmt.Sprintf("%s understood the built-in phrase, %.0f %% sure", ear.Name(), 100*heard[0].Confidence), nil
}

// checkDisk wants room for so many hours of two channels.
func checkDisk(records string, hours float64) (string, error) {
	if records == config.UsualFolder { // made as a session would
		if err := os.MkdirAll(records, 0o700); err != nil {
			return "", err
		}
	}
	free, err := monitor.FreeBytes(records)
	if err != nil {
		return "", err
	}
	holds := float64(free) / (4 * audio.Rate * 3600)
	if holds < hours {
		return "", fmt.Errorf(
			"%s holds %.1f h of session, want %.1f: free some space (coxswain retain)",
			records,
			holds,
			hours,
		)
	}
	probe := filepath.Join(records, ".write-test")
	if err := record.WriteFile(probe, []byte("x")); err != nil {
		return "", fmt.Errorf("cannot write: %w", err)
	}
	os.Remove(probe)
	return fmt.Sprintf("%s holds %.0f h of session", records, holds), nil
}

// checkBackup looks at the mark that a site's backup job leaves.
func checkBackup(records string, within time.Duration) (string, error) {
	dirs, _ := record.Dirs(records)
	if len(dirs) == 0 {
		return "no records yet", nil
	}
	st, err := os.Stat(filepath.Join(records, ".backup"))
	if err != nil {
		return "", fmt.Errorf(
			"%d records and no backup is known of: have the backup job touch %s",
			len(dirs),
			filepath.Join(records, ".backup"),
		)
	}
	if age := time.Since(st.ModTime()); age > within {
		return "", fmt.Errorf("the last backup is %v old, want at most %v", age.Round(time.Minute), within)
	}
	return "last one at " + st.ModTime().Format(time.RFC3339), nil
}

// Limits of the room, in dB below full scale; common practice, no source: below
// the first a microphone is muted or dead, above the second speech drowns.
const (
	deadRoom = -85.0
	loudRoom = -30.0
)

func checkSound(c *config.Config) []Finding {
	m, err := MeasureLoop(c)
	if err != nil {
		return []Finding{{"sound", "fail", err.Error()}}
	}
	out := []Finding{{"microphone", "pass", fmt.Sprintf("noise floor %.0f dBFS", m.floor)}}
	if m.floor < deadRoom {
		out[0] = Finding{
			"microphone",
			"fail",
			fmt.Sprintf("noise floor %.0f dBFS: muted, unplugged or the wrong one", m.floor),
		}
	} else if m.floor > loudRoom {
		out[0] = Finding{"microphone", "fail", fmt.Sprintf("noise floor %.0f dBFS: turn its gain down", m.floor)}
	}
	loop := Finding{"loudspeaker", "pass", m.String()}
	least := int(c.LoopDelay().Milliseconds())
	switch ms := m.delay * 1000 / audio.Rate; {
	case !m.Heard():
		loop = Finding{
			"loudspeaker",
			"fail",
			"the microphone does not hear it: check volume, mute and which devices are chosen",
		}
	case ms > least+180:
		loop = Finding{
			"loudspeaker",
			"fail",
			fmt.Sprintf("%v: too late for the echo canceller; set loop_delay_ms to %d", m, ms-20),
		}
	case ms < least-10:
		loop = Finding{
			"loudspeaker",
			"fail",
			fmt.Sprintf("%v: sooner than loop_delay_ms; set it to %d", m, max(10, ms)),
		}
	}
	late := Finding{"timing", "pass", "no block came too late in 2 s"}
	if m.missed > 0 {
		late = Finding{
			"timing",
			"fail",
			fmt.Sprintf(
				"%d of 200 blocks came too late: end what else runs, or set buffer_ms to %d",
				m.missed,
				min(2*c.BufferMs, 200),
			),
		}
	}
	return append(out, loop, late)
}

// SayResult speaks the result and reports whether it could.
func SayResult(c *config.Config, failed int) Finding {
	voice, err := prompts.NewVoice(c.Clips)
	if err != nil {
		return Finding{"speech", "fail", err.Error()}
	}
	id := "check.passed"
	if failed > 0 {
		id = "check.failed"
	}
	cue := timeline.Cue{ID: id}
	player := audio.NewPlayer(int64(audio.LeadFor(c.Buffer())) * audio.Block)
	player.Say(0, voice.Speak(cue), c.Volume)
	end := player.TalkUntil() + audio.Rate/4
	e := audio.NewExchange(10)
	e.Ahead(audio.LeadFor(c.Buffer()))
	d, err := openSound(c, e)
	if err != nil {
		return Finding{"speech", "fail", err.Error()}
	}
	defer d.Close()
	var f audio.Frame
	var out [audio.Block]float32
	for begun := time.Now(); player.Pos() < end; {
		if !e.Next(&f) {
			if time.Since(begun) > 10*time.Second {
				return Finding{"speech", "fail", "the sound device stands still"}
			}
			time.Sleep(time.Millisecond)
			continue
		}
		player.Render(out[:])
		e.Send(out[:])
	}
	return Finding{"speech", "pass", fmt.Sprintf("said %q", voice.Sentence(cue))}
}

// Print prints what was found.
func Print(w io.Writer, found []Finding, asJSON bool, caution string) error {
	if asJSON {
		return json.NewEncoder(w).Encode(found)
	}
	for _, f := range found {
		fmt.Fprintf(w, "%s  %s: %s\n", f.Result, f.Name, f.Detail)
	}
	_, err := fmt.Fprintln(w, caution)
	return err
}

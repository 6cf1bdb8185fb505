package rig

import (
	"fmt"
	"os"
	"os/exec"

	"coxswain/audio/device"
	"coxswain/cmd/coxswain/config"
	"coxswain/intents"
	"coxswain/prompts"
	"coxswain/timeline/record"
)

// Readable reads every file and looks for every folder, program and device that the settings name,
// and says which setting names the first that cannot be used, and why.
func Readable(c *config.Config) error {
	if _, err := Protocol(c); err != nil { // says it in its own words
		return err
	}
	v, err := intents.LoadVocabulary(c.Vocabulary...)
	if err == nil {
		_, err = v.Compile()
	}
	if err != nil {
		return fmt.Errorf("vocabulary: %w", err)
	}
	return Named(c)
}

// Named looks for everything else that the settings name, and says which setting names the first
// that is not there or cannot be used, and why.
func Named(c *config.Config) error {
	there := func(path string) error { _, err := os.Stat(path); return err }
	for _, s := range []struct {
		key, value string
		read       func() error
	}{
		{"clips", c.Clips, func() error { _, err := prompts.NewVoice(c.Clips); return err }},
		{"voice", c.Profile, func() error { _, err := ReadVoice(c.Profile); return err }},
		{"benchmarks", "-", func() error { _, err := c.Definitions(); return err }},
		{"sign_key", c.SignKey, func() error { _, err := record.PrivateKey(c.SignKey); return err }},
		{"store_key", c.StoreKey, func() error { _, err := record.Recipients(c.StoreKey); return err }},
		{"store_creds", c.StoreCreds, func() error { return there(c.StoreCreds) }},
		{"store_ca", c.StoreCA, func() error { return there(c.StoreCA) }},
		{"records", c.Folder, func() error { return folderThere(c.Folder) }},
		{"recogniser", "-", func() error { return programThere(c.Recogniser) }},
		{"input", c.Input, func() error { return device.FindInput(c.Input) }},
		{"output", c.Output, func() error { return device.FindOutput(c.Output) }},
	} {
		if s.value == "" {
			continue
		}
		if err := s.read(); err != nil {
			return fmt.Errorf("%s: %w", s.key, err)
		}
	}
	return nil
}

// folderThere wants a folder for records that was chosen to be there: a new one may be one of a
// slip of the keyboard. The usual one is made when it is needed.
func folderThere(path string) error {
	st, err := os.Stat(path)
	switch {
	case os.IsNotExist(err) && path == config.UsualFolder:
		return nil
	case os.IsNotExist(err):
		return fmt.Errorf("%s is not there: make it (mkdir -m 700), or mend its name", path)
	case err == nil && !st.IsDir():
		return fmt.Errorf("%s is no folder", path)
	}
	return err
}

// programThere wants the program of a recogniser to be there.
func programThere(name string) error {
	command, err := commandOf(name)
	if err == nil {
		_, err = exec.LookPath(command[0])
	}
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

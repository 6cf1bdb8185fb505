package rig

import (
	"fmt"
	"os"

	"coxswain/cmd/coxswain/config"
	"coxswain/intents"
	"coxswain/prompts"
	"coxswain/timeline/record"
)

// Readable reads every file and folder that the settings name, and says which setting names the
// first that cannot be used, and why.
func Readable(c *config.Config) error {
	if _, err := Protocol(c); err != nil { // says it in its own words
		return err
	}
	there := func(path string) error { _, err := os.Stat(path); return err }
	for _, s := range []struct {
		key, value string
		read       func() error
	}{
		{"vocabulary", "-", func() error {
			v, err := intents.LoadVocabulary(c.Vocabulary...)
			if err == nil {
				_, err = v.Compile()
			}
			return err
		}},
		{"clips", c.Clips, func() error { _, err := prompts.NewVoice(c.Clips); return err }},
		{"voice", c.Profile, func() error { _, err := ReadVoice(c.Profile); return err }},
		{"benchmarks", "-", func() error { _, err := c.Definitions(); return err }},
		{"sign_key", c.SignKey, func() error { _, err := record.PrivateKey(c.SignKey); return err }},
		{"store_key", c.StoreKey, func() error { _, err := record.Recipients(c.StoreKey); return err }},
		{"store_creds", c.StoreCreds, func() error { return there(c.StoreCreds) }},
		{"store_ca", c.StoreCA, func() error { return there(c.StoreCA) }},
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

package rig

import (
	"crypto/ed25519"
	"time"

	"coxswain/cmd/coxswain/config"
	"coxswain/intents"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// Amends returns how the records of a site are amended: signed with its key, if it
// has one, and held to what can be called aloud there.
func Amends(c *config.Config) (func(dir string, change timeline.Change) error, error) {
	var key ed25519.PrivateKey
	if c.SignKey != "" {
		k, err := record.PrivateKey(c.SignKey)
		if err != nil {
			return nil, err
		}
		key = k
	}
	v, err := intents.LoadVocabulary(c.Vocabulary...)
	if err != nil {
		return nil, err
	}
	allowed := func(k timeline.Kind, values map[string]float64) error { return v.Hold(string(k), values) }
	return func(dir string, change timeline.Change) error {
		return record.Amend(dir, change, allowed, time.Now(), key)
	}, nil
}

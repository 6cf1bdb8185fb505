package rig

import (
	"coxswain/cmd/coxswain/config"
	"coxswain/intents"
	"coxswain/timeline"
)

// Vocabularies returns the site's vocabulary, checked, and how a card shows it: in
// the words of the protocol.
func Vocabularies(c *config.Config) (all, shown *intents.Vocabulary, err error) {
	if all, err = intents.LoadVocabulary(c.Vocabulary...); err != nil {
		return nil, nil, err
	}
	if _, err = all.Compile(); err != nil {
		return nil, nil, err
	}
	p, err := Protocol(c)
	if err != nil {
		return nil, nil, err
	}
	return all, all.Prefer(func(phrase string) string { return timeline.Reword(p.Words, phrase) }), nil
}

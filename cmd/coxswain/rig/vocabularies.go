package rig

import (
	"log/slog"

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
	if ids := all.Lacks(); len(ids) > 0 {
		slog.Warn("the vocabulary stands alone: what is misheard cannot be taken back, or an end not confirmed", "lacks", ids)
	}
	p, err := Protocol(c)
	if err != nil {
		return nil, nil, err
	}
	return all, all.Prefer(func(phrase string) string { return timeline.Reword(p.Words, phrase) }), nil
}

// Package intents turns what is said in the room into callouts.
//
// A Vocabulary (vocabulary.yaml, and a site's overlay) says which phrases mean
// which callout. A Recogniser hears 16 kHz samples and returns Results: a
// callout id, the slots' numbers, where in the audio it was said, and how sure
// the recogniser is. Recognisers are pluggable: Serve makes any Recogniser a
// child process and Process talks to one, so that it may crash, hang or be
// replaced without touching the metronome. The line protocol is described at
// Serve.
//
// Saying what was done is a callout; saying what is wanted is not.
package intents

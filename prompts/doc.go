// Package prompts turns cues into sound: which sentence, which clips, at which
// sample, and what gives way to what.
//
//	timeline.Cue --Scheduler--> Voice (clips) --> audio.Player --> speaker
//	Metronome (a function of sample and rate) --> audio.Player
//
// The beat never waits for speech: it ducks, in phase.
package prompts

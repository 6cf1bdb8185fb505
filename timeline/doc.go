// Package timeline knows the job: what happened in a code, what state that
// leaves the team in, and what is due when.
//
// Everything here is a pure function of appended events and of session time,
// which is the sample count of the audio stream:
//
//	events --Fold--> State --Agenda--> what is due, and when
//	events, ticks --Machine--> cues, once each
//
// The numbers of the job (rates, intervals, doses) are protocol data with
// their sources, in protocols/*.yaml; no guideline value stands in code.
//
// The package imports nothing of this module and never asks for the time.
package timeline

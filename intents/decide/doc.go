// Package decide says what becomes of what a recogniser may have heard: it is
// accepted, asked about, or ignored, as a good listener would who knows the case.
//
// A recogniser's confidence knows the sound alone. Where a case stands makes some
// callouts likelier: after "everybody clear" a shock follows, and nobody loses a pulse
// that nobody felt. The rules for that are data (odds.yaml): odds between 1:4 and 4:1,
// each with its reason. They multiply the recogniser's odds:
//
//	p / (1-p)  =  confidence / (1-confidence)  x  odds of the case
//
// What reaches the confidence that the callout needs is accepted. What comes near is
// asked about, at most three times a minute: by its name, where one callout stands out,
// else "say it again". "Yes", or the same callout again, settles it. What is far from
// any callout, and what a negation, question, condition or order forbids, is ignored.
//
// Everything here is a function of its arguments: the same results in the same case give
// the same decisions, in a replay too.
package decide

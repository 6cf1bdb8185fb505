// Package evaluate listens to recordings with a recogniser and holds what it
// heard against what was said: Listen for results, Measure for tables, Candidates
// for what the built-in recogniser's confidence is fitted on. It is Go alone, so
// that measurements run on machines without sound.
package evaluate

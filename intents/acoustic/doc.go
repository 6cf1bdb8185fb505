// Package acoustic is coxswain's own recogniser, in Go alone: a log-mel front
// end, a small phone net whose weights are embedded, and a keyword-and-filler
// decoder that searches every phrase of the vocabulary, numbers included.
//
//	samples -> LogMel (10 ms) -> Net (20 ms, log posteriors of 40 phones)
//	        -> Decoder: phrase paths against the best free phone path
//	        -> boundary and word evidence -> confidence -> Result
//
// A new phrase needs a pronunciation and no training. How the net was trained
// and what it has not been tested on is in intents/train/README.md.
package acoustic

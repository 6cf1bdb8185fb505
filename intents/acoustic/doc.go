// Package acoustic is coxswain's own recogniser, in Go alone: a log-mel front
// end, small neural nets whose weights are embedded, and a keyword search that
// knows every phrase of the vocabulary, numbers included.
//
//	16 kHz samples
//	  | logMel: 40 log-mel bands every 10 ms
//	  | ensemble: two nets (one with mean normalisation, each with vocal tract length
//	  |           normalisation) -> every 20 ms log posteriors of 40 phones (lp), and of
//	  |           the callout that has just ended (call: the second opinion)
//	  v
//	row[p] = lp[p] less part of its prior, against the best phone of the frame (the filler)
//	  |
//	  |  token passing: each phrase is a network of phones, and a token is a path through
//	  |  it. In every frame a token stays in its state or takes the way on:
//	  |
//	  |     entry                                                      final
//	  |    -->(SH)-->(AA)-->(K)--[pause]-->(D)-->(IH)--...-->(D)-->.
//	  |        |__^   |__^   |__^           |__^   |__^        |__^
//	  |
//	  |  its score is the sum of row[state's phone] + bonus; the best token of each state
//	  |  lives on, those that are lost die. The filler's score is 0: above it, the phrase
//	  |  explains the sound better than free phones do.
//	  v
//	candidate: phrase, first and last frame. It is final when no better one that overlaps
//	  |        came for 160 ms and none is growing; rivals of the same time give the margin
//	  v
//	Viterbi alignment of the phrase over its frames -> words, numbers, evidence
//	  |        (per word and phone: log ratio, what the nets' own certainty lets expect,
//	  |        silence around, margin, the best path of any phones, second opinion)
//	  v
//	judge (a layer over each sound that was said, pooled, and one over the whole) -> confidence (a probability) -> Result
//
// A new phrase needs a pronunciation and no training. How the nets were trained
// and what they have not been tested on is in intents/train/README.md.
//
// Words: S. Young, N. Russell, J. Thornton, "Token passing: a simple conceptual model
// for connected speech recognition systems" (1989); A. Viterbi (1967); L. Lee and
// R. Rose on normalising the length of the vocal tract (1996), all from memory.
package acoustic

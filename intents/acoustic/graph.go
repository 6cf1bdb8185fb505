package acoustic

import "coxswain/intents"

const silence = 0 // phone index

const noPhrase = -2 // ends at a state

// state is one phone of one way to say a phrase: it emits at least one frame.
type state struct {
	phone int8
	entry bool  // a phrase may begin here
	ends  int32 // the phrase that may end here, -1 in what is not searched; noPhrase: none may
	word  int32 // index in graph.words if this is the first phone of a word, else -1
	join  int32 // in graph.joins: where its paths come from
}

// Where a state goes on to: the only state that may follow; nowhere; below that several, in graph.ways.
const nowhere = -1

// final reports whether a phrase may end in a state.
func (s *state) final() bool { return s.ends != noPhrase }

// span is the states of one phrase.
type span struct {
	lo, hi int32
	number bool // begins with a number: many ways in, each needs its first phone
}

// graph holds all phrases of a vocabulary as phone networks.
type graph struct {
	vocabulary *intents.Vocabulary
	phrases    []intents.Phrase
	searches   []search // what is searched all the time
	spans      []span   // by phrase; empty until asked for: see span
	usual      [][]span // by phrase: the same with each usual number, as spans
	states     []state
	phones     []int8  // by state: its phone again, as a frame looks at tens of thousands
	onward     []int32 // by state: where it goes on to
	joins      lists   // states that end where others may begin; shared by all that begin there
	ways       lists   // states that may follow, where several may; shared by all that end in the same place
	words      []string
	kinds      []int32            // by phrase: a number for its callout, with or without a number said
	class      []int              // by phrase: the nets' number for its callout; 0: they do not know it
	asides     []aside            // what may be said around callouts
	before     []aside            // and before them
	lead       map[string][]aside // and before a phrase, by its first word: see leading
	said       map[placed]sounds  // what was said of words
}

// kind is a callout, with or without a number said.
type kind struct {
	callout string
	number  bool
}

// maxStates bounds what a vocabulary may cost: about a fifth of a core.
const maxStates = 400_000

func newGraph(v *intents.Vocabulary, taught map[[2]string]int) (*graph, error) {
	phrases, err := v.Compile()
	if err != nil {
		return nil, err
	}
	answers, err := v.CompileAnswers()
	if err != nil {
		return nil, err
	}
	phrases = append(phrases, answers...)
	g := &graph{vocabulary: v, phrases: phrases, lead: map[string][]aside{}}
	g.spans, g.usual = make([]span, len(phrases)), make([][]span, len(phrases))
	kinds := map[kind]int32{}
	for _, p := range phrases {
		k := kind{p.Callout.ID, p.HasSlot()}
		if _, ok := kinds[k]; !ok {
			kinds[k] = int32(len(kinds))
		}
		g.kinds = append(g.kinds, kinds[k])
		g.class = append(g.class, taught[[2]string{p.Callout.ID, p.Text}])
	}
	if err := g.addSearches(); err != nil {
		return nil, err
	}
	return g, g.addAround()
}

// add makes the states of a phrase.
func (g *graph) add(p intents.Phrase, number func(intents.Slot) intents.Expr) (span, error) {
	return g.addExpr(intents.Expr{Op: intents.Seq, Kids: g.parts(p, number)}, p.Parts[0].Word == "")
}

// parts are the words of a phrase and the grammars of its numbers.
func (g *graph) parts(p intents.Phrase, number func(intents.Slot) intents.Expr) []intents.Expr {
	parts := make([]intents.Expr, len(p.Parts))
	for i := range p.Parts {
		parts[i] = g.part(p, i, number)
	}
	return parts
}

// part is one of these.
func (g *graph) part(p intents.Phrase, i int, number func(intents.Slot) intents.Expr) intents.Expr {
	if w := p.Parts[i].Word; w != "" {
		return intents.Expr{Op: intents.Word, Text: w}
	}
	return number(g.vocabulary.Spoken(p, i))
}

// addExpr makes the states of a grammar; number says that it begins with one.
func (g *graph) addExpr(e intents.Expr, number bool) (span, error) {
	b := builder{g: g}
	start, end := b.node(), b.node()
	if err := b.expr(e, start, end); err != nil {
		return span{}, err
	}
	return b.finish(start, map[int]int32{end: -1}, number), nil
}

// lists are many short lists in one, each behind its length, as they are looked at in a row.
type lists []int32

// list is the one that begins at i.
func (l lists) list(i int32) []int32 { return l[i+1 : i+1+l[i]] }

// follows are the states that may follow where several may.
func (g *graph) follows(to int32) []int32 { return g.ways.list(nowhere - 1 - to) }

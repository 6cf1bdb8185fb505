package acoustic

import (
	"slices"

	"coxswain/intents"
)

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

// move is what a state adds to a token in a frame, and where the token goes on to. It is kept
// small: a frame looks at thousands.
type move struct {
	to    int32 // the only state that may follow; nowhere: none; below: several, in graph.ways
	phone int8
}

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
	moves      []move // by state: what the search needs of it
	joins      lists  // states that end where others may begin; shared by all that begin there
	ways       lists  // states that may follow, where several may; shared by all that end in the same place
	words      []string
	class      []int              // by phrase: the nets' number for its callout; 0: they do not know it
	asides     []aside            // what may be said around callouts
	before     []aside            // and before them
	lead       map[string][]aside // and before a phrase, by its first word: see leading
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
	for _, p := range phrases {
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

// edge is a phone on the way from one node to another; phone -1 is free.
type edge struct {
	from, to    int
	phone, word int32
}

// builder makes the network of one phrase: first nodes and edges, then states.
type builder struct {
	g     *graph
	nodes int
	edges []edge
}

func (b *builder) node() int { b.nodes++; return b.nodes - 1 }

func (b *builder) edge(from, to int, phone, word int32) {
	b.edges = append(b.edges, edge{from, to, phone, word})
}

func (b *builder) expr(e intents.Expr, from, to int) error {
	switch e.Op {
	case intents.Word:
		return b.word(e.Text, from, to)
	case intents.Alt:
		for _, k := range e.Kids {
			if err := b.expr(k, from, to); err != nil {
				return err
			}
		}
		return nil
	}
	for i, k := range e.Kids {
		next := to
		if i < len(e.Kids)-1 {
			next = b.node()
		}
		if err := b.expr(k, from, next); err != nil {
			return err
		}
		from = next
	}
	return nil
}

// word adds every pronunciation, and a pause that may go before it.
func (b *builder) word(w string, from, to int) error {
	if w == "" {
		b.edge(from, to, -1, -1)
		return nil
	}
	prons, err := b.g.vocabulary.Pronounce(w)
	if err != nil {
		return err
	}
	id := int32(len(b.g.words))
	b.g.words = append(b.g.words, w)
	head := b.node()
	b.edge(from, head, -1, -1)
	if from != 0 { // node 0 is the phrase's start
		b.edge(from, head, silence, -1)
	}
	for _, p := range spoken(w, prons, from == 0) {
		at := head
		for i, ph := range p {
			next, word := to, int32(-1)
			if i < len(p)-1 {
				next = b.node()
			}
			if i == 0 {
				word = id
			}
			b.edge(at, next, int32(intents.PhoneIndex(ph)), word)
			at = next
		}
	}
	return nil
}

// finish turns phone edges into states and follows the free edges. ends are the nodes that
// a phrase may end at, each with the phrase.
func (b *builder) finish(start int, ends map[int]int32, number bool) span {
	lo := int32(len(b.g.states))
	outFree := make([][]int, b.nodes)
	into, from := make([][]int32, b.nodes), make([][]int32, b.nodes) // states that end and begin at a node
	emit := make([]edge, 0, len(b.edges))
	for _, e := range b.edges {
		if e.phone < 0 {
			outFree[e.from] = append(outFree[e.from], e.to)
			continue
		}
		into[e.to] = append(into[e.to], lo+int32(len(emit)))
		from[e.from] = append(from[e.from], lo+int32(len(emit)))
		emit = append(emit, e)
	}
	reach := make([][]int32, b.nodes)  // states whose end reaches a node for free
	onward := make([][]int32, b.nodes) // states that begin where a node reaches for free
	isStart := make([]bool, b.nodes)
	endOf := slices.Repeat([]int32{noPhrase}, b.nodes)
	var free []int
	for n := range b.nodes {
		free = follow(n, outFree, free[:0])
		for _, m := range free {
			reach[m] = append(reach[m], into[n]...)
			onward[n] = append(onward[n], from[m]...)
			isStart[m] = isStart[m] || n == start
			if phrase, ok := ends[m]; ok {
				endOf[n] = phrase
			}
		}
	}
	join, way := places(&b.g.joins, reach), places(&b.g.ways, onward)
	to := func(node int) int32 {
		switch next := onward[node]; len(next) {
		case 0:
			return nowhere
		case 1:
			return next[0]
		}
		return nowhere - 1 - way(node)
	}
	for _, e := range emit {
		b.g.states = append(b.g.states, state{
			phone: int8(e.phone), word: e.word, entry: isStart[e.from], ends: endOf[e.to], join: join(e.from),
		})
		b.g.moves = append(b.g.moves, move{to(e.to), int8(e.phone)})
	}
	return span{lo, int32(len(b.g.states)), number}
}

// lists are many short lists in one, each behind its length, as they are looked at in a row.
type lists []int32

// list is the one that begins at i.
func (l lists) list(i int32) []int32 { return l[i+1 : i+1+l[i]] }

// places gives where the states of a node lie in the lists, and puts them there when they are
// first asked for.
func places(in *lists, states [][]int32) func(node int) int32 {
	known := make([]int32, len(states)) // and one
	return func(node int) int32 {
		if known[node] == 0 {
			known[node] = int32(len(*in)) + 1
			*in = append(append(*in, int32(len(states[node]))), states[node]...)
		}
		return known[node] - 1
	}
}

// follows are the states that may follow where several may.
func (g *graph) follows(to int32) []int32 { return g.ways.list(nowhere - 1 - to) }

// follow adds to seen the nodes that a node reaches for free, itself first.
func follow(n int, free [][]int, seen []int) []int {
	if slices.Contains(seen, n) {
		return seen
	}
	seen = append(seen, n)
	for _, m := range free[n] {
		seen = follow(m, free, seen)
	}
	return seen
}

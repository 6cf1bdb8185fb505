package acoustic

import (
	"fmt"

	"coxswain/intents"
)

const silence = 0 // phone index

// state is one phone of one way to say a phrase: it emits at least one frame.
type state struct {
	phone   int32
	word    int32 // index in graph.words if this is the first phone of a word, else -1
	join    int32 // index in graph.joins: where its paths come from
	topJoin int32 // highest join of this state and those before it in the phrase
	reach   int32 // highest state of the phrase that this one, or one before it, may pass on to
	entry   bool  // a phrase may begin here
	final   bool  // a phrase may end here
}

// span is the states and joins of one phrase.
type span struct {
	lo, hi, joinLo, joinHi int32
	number                 bool // begins with a number: many ways in, each needs its first phone
}

// graph holds all phrases of a vocabulary as phone networks.
type graph struct {
	vocabulary *intents.Vocabulary
	phrases    []intents.Phrase
	spans      []span
	states     []state
	joins      [][]int32 // states that end where others may begin; shared by all that begin there
	words      []string
	entries    map[int32][]int32 // by first state of a phrase: where it may begin
}

// maxStates bounds what a vocabulary may cost: about a fifth of a core.
const maxStates = 400_000

func newGraph(v *intents.Vocabulary) (*graph, error) {
	phrases, err := v.Compile()
	if err != nil {
		return nil, err
	}
	g := &graph{vocabulary: v, phrases: phrases, entries: map[int32][]int32{}}
	for _, p := range phrases {
		b := builder{g: g}
		start, end := b.node(), b.node()
		parts := make([]intents.Expr, len(p.Parts))
		for i, part := range p.Parts {
			if part.Word != "" {
				parts[i] = intents.Expr{Op: intents.Word, Text: part.Word}
			} else {
				parts[i] = intents.NumberExpr(v.Slots[part.Slot])
			}
		}
		if err := b.expr(intents.Expr{Op: intents.Seq, Kids: parts}, start, end); err != nil {
			return nil, err
		}
		b.finish(start, end, p.Parts[0].Word == "")
		if len(g.states) > maxStates {
			return nil, fmt.Errorf("the vocabulary is too large: its phrases need more than %d phone states", maxStates)
		}
	}
	return g, nil
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
	for _, p := range prons {
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

// finish turns phone edges into states and follows the free edges.
func (b *builder) finish(start, end int, number bool) {
	lo := int32(len(b.g.states))
	outFree := make([][]int, b.nodes)
	into := make([][]int32, b.nodes) // states that end at a node
	var emit []edge
	for _, e := range b.edges {
		if e.phone < 0 {
			outFree[e.from] = append(outFree[e.from], e.to)
			continue
		}
		into[e.to] = append(into[e.to], lo+int32(len(emit)))
		emit = append(emit, e)
	}
	reach := make([][]int32, b.nodes) // states whose end reaches a node for free
	isStart := make([]bool, b.nodes)
	isEnd := make([]bool, b.nodes)
	for n := range b.nodes {
		seen := map[int]bool{}
		b.follow(n, outFree, seen)
		for m := range seen {
			reach[m] = append(reach[m], into[n]...)
			isStart[m] = isStart[m] || n == start
			isEnd[n] = isEnd[n] || m == end
		}
	}
	joinLo, joinOf := int32(len(b.g.joins)), map[int]int32{}
	for _, e := range emit {
		join, known := joinOf[e.from]
		if !known {
			join = int32(len(b.g.joins))
			joinOf[e.from] = join
			b.g.joins = append(b.g.joins, reach[e.from])
		}
		b.g.states = append(b.g.states, state{phone: e.phone, word: e.word, join: join, entry: isStart[e.from], final: isEnd[e.to]})
	}
	for i := lo; i < int32(len(b.g.states)); i++ {
		if b.g.states[i].entry {
			b.g.entries[lo] = append(b.g.entries[lo], i)
		}
	}
	b.g.spans = append(b.g.spans, span{lo, int32(len(b.g.states)), joinLo, int32(len(b.g.joins)), number})
	b.g.setReach(lo)
}

// setReach lets a search stop early: states behind the reach of the last live
// one cannot come alive in this frame.
func (g *graph) setReach(lo int32) {
	for i := lo; i < int32(len(g.states)); i++ {
		for _, p := range g.joins[g.states[i].join] {
			g.states[p].reach = max(g.states[p].reach, i)
		}
	}
	top, join := lo, int32(0)
	for i := lo; i < int32(len(g.states)); i++ {
		top = max(top, g.states[i].reach, i)
		g.states[i].reach = top
		join = max(join, g.states[i].join)
		g.states[i].topJoin = join
	}
}

func (b *builder) follow(n int, free [][]int, seen map[int]bool) {
	if seen[n] {
		return
	}
	seen[n] = true
	for _, m := range free[n] {
		b.follow(m, free, seen)
	}
}

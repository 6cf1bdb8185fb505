package acoustic

import (
	"slices"

	"coxswain/intents"
)

// edge is a phone on the way from one node to another; phone -1 is free.
type edge struct {
	from, to    int32
	phone, word int32
}

// builder makes the network of one phrase: first nodes and edges, then states.
type builder struct {
	g     *graph
	nodes int
	edges []edge
}

// reset begins another network.
func (b *builder) reset() { b.nodes, b.edges = 0, b.edges[:0] }

func (b *builder) node() int { b.nodes++; return b.nodes - 1 }

func (b *builder) edge(from, to int, phone, word int32) {
	b.edges = append(b.edges, edge{int32(from), int32(to), phone, word})
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
	sounds, err := b.g.sounds(w, from == 0) // node 0 is the phrase's start
	if err != nil {
		return err
	}
	head := b.node()
	b.edge(from, head, -1, -1)
	if from != 0 {
		b.edge(from, head, silence, -1)
	}
	for _, p := range sounds.ways {
		at := head
		for i, phone := range p {
			next, word := to, int32(-1)
			if i < len(p)-1 {
				next = b.node()
			}
			if i == 0 {
				word = sounds.word
			}
			b.edge(at, next, int32(phone), word)
			at = next
		}
	}
	return nil
}

// sounds are the ways to say a word in the phrases of a graph.
type sounds struct {
	word int32 // in graph.words
	ways [][]int8
}

// placed is a word, and whether a phrase begins with it.
type placed struct {
	word  string
	first bool
}

// sounds are kept: few words make up many phrases.
func (g *graph) sounds(word string, first bool) (sounds, error) {
	if known, ok := g.said[placed{word, first}]; ok {
		return known, nil
	}
	prons, err := g.vocabulary.Pronounce(word)
	if err != nil {
		return sounds{}, err
	}
	out := sounds{word: int32(len(g.words))}
	g.words = append(g.words, word)
	for _, p := range spoken(word, prons, first) {
		phones := make([]int8, len(p))
		for i, name := range p {
			phones[i] = int8(intents.PhoneIndex(name))
		}
		out.ways = append(out.ways, phones)
	}
	if g.said == nil {
		g.said = map[placed]sounds{}
	}
	g.said[placed{word, first}] = out
	return out, nil
}

// finish turns phone edges into states and follows the free edges. ends are the nodes that
// a phrase may end at, each with the phrase.
func (b *builder) finish(start int, ends map[int]int32, number bool) span {
	lo := int32(len(b.g.states))
	emit, free := b.parted()
	ahead, behind := b.reached(free)
	isStart := make([]bool, b.nodes)
	for _, n := range ahead.of(int32(start)) {
		isStart[n] = true
	}
	endOf := make([]int32, b.nodes)
	for n := range endOf {
		endOf[n] = noPhrase
		for _, m := range ahead.of(int32(n)) {
			if phrase, ok := ends[int(m)]; ok {
				endOf[n] = phrase
			}
		}
	}
	// states that end and begin at a node
	into := group(b.nodes, len(emit), func(i int) (int32, int32) { return emit[i].to, lo + int32(i) })
	from := group(b.nodes, len(emit), func(i int) (int32, int32) { return emit[i].from, lo + int32(i) })
	join, way := places(&b.g.joins, behind, into), places(&b.g.ways, ahead, from)
	b.g.states = room(b.g.states, len(emit))
	b.g.phones, b.g.onward = room(b.g.phones, len(emit)), room(b.g.onward, len(emit))
	for _, e := range emit {
		b.g.states = append(b.g.states, state{
			phone: int8(e.phone), word: e.word, entry: isStart[e.from], ends: endOf[e.to], join: join(e.from),
		})
		to, several := ahead.only(e.to, from)
		if several {
			to = nowhere - 1 - way(e.to)
		}
		b.g.phones, b.g.onward = append(b.g.phones, int8(e.phone)), append(b.g.onward, to)
	}
	return span{lo, int32(len(b.g.states)), number}
}

// parted are the edges with a phone, and those that are free.
func (b *builder) parted() (emit, free []edge) {
	n := 0
	for _, e := range b.edges {
		if e.phone >= 0 {
			n++
		}
	}
	emit, free = make([]edge, 0, n), make([]edge, 0, len(b.edges)-n)
	for _, e := range b.edges {
		if e.phone >= 0 {
			emit = append(emit, e)
		} else {
			free = append(free, e)
		}
	}
	return emit, free
}

// room makes room for n more in what grows to hundreds of thousands, in steps that neither copy it
// as often as append's nor leave as much empty.
func room[T any](s []T, n int) []T {
	if cap(s)-len(s) < n {
		s = append(make([]T, 0, len(s)+max(n, min(len(s), 1<<16))), s...)
	}
	return s
}

// groups are lists of numbers, one for each node.
type groups struct {
	ends  []int32 // by node: where its list ends, and the next begins
	items []int32
}

// group puts n numbers, each with its node, into groups, which keep their order.
func group(nodes, n int, number func(i int) (node, item int32)) groups {
	g := groups{make([]int32, nodes+1), make([]int32, n)}
	for i := range n {
		node, _ := number(i)
		g.ends[node+1]++
	}
	for k := range nodes {
		g.ends[k+1] += g.ends[k]
	}
	for i := range n { // each moves the beginning of its list, which so becomes its end
		node, item := number(i)
		g.items[g.ends[node]] = item
		g.ends[node]++
	}
	return g
}

// of is the list of a node.
func (g groups) of(node int32) []int32 {
	if node == 0 {
		return g.items[:g.ends[0]]
	}
	return g.items[g.ends[node-1]:g.ends[node]]
}

// only is the state in the lists of the nodes that a node reaches, nowhere if there is none;
// several says that there are more.
func (g groups) only(node int32, states groups) (only int32, several bool) {
	only = nowhere
	for _, m := range g.of(node) {
		for _, s := range states.of(m) {
			if only != nowhere {
				return 0, true
			}
			only = s
		}
	}
	return only, false
}

// reached are the nodes that each node reaches for free, itself first, and those that reach it.
func (b *builder) reached(free []edge) (ahead, behind groups) {
	next := group(b.nodes, len(free), func(i int) (int32, int32) { return free[i].from, free[i].to })
	from, to := make([]int32, 0, 2*b.nodes), make([]int32, 0, 2*b.nodes)
	for n := range int32(b.nodes) {
		k := len(to)
		to = next.follow(n, to, k)
		for range len(to) - k {
			from = append(from, n)
		}
	}
	ahead = group(b.nodes, len(to), func(i int) (int32, int32) { return from[i], to[i] })
	return ahead, group(b.nodes, len(to), func(i int) (int32, int32) { return to[i], from[i] })
}

// follow adds to seen the nodes that a node reaches for free, itself first; those before k were
// reached from others.
func (g groups) follow(n int32, seen []int32, k int) []int32 {
	if slices.Contains(seen[k:], n) {
		return seen
	}
	seen = append(seen, n)
	for _, m := range g.of(n) {
		seen = g.follow(m, seen, k)
	}
	return seen
}

// places gives where the states of the nodes that a node reaches lie in the lists, and puts them
// there when they are first asked for.
func places(in *lists, reached, states groups) func(node int32) int32 {
	known := make([]int32, len(states.ends)) // and one
	return func(node int32) int32 {
		if known[node] == 0 {
			at := len(*in)
			known[node] = int32(at) + 1
			*in = append(*in, 0)
			for _, m := range reached.of(node) {
				more := states.of(m)
				*in = append(room(*in, len(more)), more...)
			}
			(*in)[at] = int32(len(*in) - at - 1)
		}
		return known[node] - 1
	}
}

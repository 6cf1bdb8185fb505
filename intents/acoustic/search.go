package acoustic

import (
	"fmt"
	"math"

	"coxswain/intents"
)

// search is what is searched as one: all phrases of a callout, or all that hold a number. They
// share what they begin with, as a tree, so that a drug's name or a number is searched once and
// not for each way to go on after it:
//
//	epi --> {number} --+--> milligram --+--> given
//	                   '--> given       '--> in
type search struct {
	span
	phrase  int  // one of it
	answer  bool // only answers a question
	entries []entry
	finals  []uint64 // by state a bit: whether a phrase may end in it,
	leaves  []uint64 // and whether it goes on to others than the next
	phones  phoneSet // of the entries
	ways    [2]int32 // where its states go on to, of those that go on to several: the first, and behind the last
}

// entry is a state that a search may begin with, and its phone.
type entry struct {
	state int32
	phone int8
}

// phoneSet is a set of phones: a bit for each.
type phoneSet uint64

func (p phoneSet) has(phone int8) bool { return p>>phone&1 != 0 }

// addSearch has the states of a span searched all the time.
func (g *graph) addSearch(sp span, phrase int, answer bool) {
	s := search{span: sp, phrase: phrase, answer: answer, ways: [2]int32{nowhere, math.MinInt32}}
	s.finals, s.leaves = newBits(sp.hi-sp.lo), newBits(sp.hi-sp.lo)
	for i := sp.lo; i < sp.hi; i++ {
		to, at := g.onward[i], i-sp.lo
		if to < nowhere {
			s.ways = [2]int32{min(s.ways[0], to), max(s.ways[1], to+1)}
		}
		if to != i+1 {
			s.leaves[at>>6] |= 1 << (at & 63)
		}
		x := g.states[i]
		if x.entry {
			s.entries = append(s.entries, entry{i, x.phone})
			s.phones |= 1 << x.phone
		}
		if x.final() {
			s.finals[at>>6] |= 1 << (at & 63)
		}
	}
	g.searches = append(g.searches, s)
}

// addSearches adds what is searched.
func (g *graph) addSearches() error {
	type key struct {
		callout              *intents.Callout
		answer, slot, number bool
	}
	var order []key
	trees := map[key][]int32{}
	for k, p := range g.phrases {
		id := key{p.Callout, p.Answer, p.HasSlot(), p.Parts[0].Word == ""}
		if trees[id] == nil {
			order = append(order, id)
		}
		trees[id] = append(trees[id], int32(k))
	}
	b := builder{g: g}
	for _, id := range order {
		b.reset()
		start, ends := b.node(), map[int]int32{}
		if err := b.tree(start, 0, trees[id], ends); err != nil {
			return err
		}
		g.addSearch(b.finish(start, ends, id.number), int(trees[id][0]), id.answer)
	}
	if len(g.states) > maxStates {
		return fmt.Errorf("the vocabulary is too large: its phrases need more than %d phone states", maxStates)
	}
	return nil
}

// tree adds what follows part i of some phrases that are alike up to there.
func (b *builder) tree(from, i int, phrases []int32, ends map[int]int32) error {
	for len(phrases) > 0 {
		first := b.g.phrases[phrases[0]]
		var longer, others []int32
		to := b.node()
		for _, k := range phrases {
			switch parts := b.g.phrases[k].Parts; {
			case parts[i] != first.Parts[i]:
				others = append(others, k)
			case len(parts) == i+1:
				if _, twice := ends[to]; !twice {
					ends[to] = k
				}
			default:
				longer = append(longer, k)
			}
		}
		if err := b.expr(b.g.part(first, i, intents.NumberExpr), from, to); err != nil {
			return err
		}
		if err := b.tree(to, i+1, longer, ends); err != nil {
			return err
		}
		phrases = others
	}
	return nil
}

// span is the states of a phrase alone. They are made when they are first asked for: a phrase
// is looked at only where it was found.
func (g *graph) span(phrase int) span {
	if g.spans[phrase].hi == 0 {
		g.spans[phrase] = g.made(g.phrases[phrase], intents.NumberExpr)
	}
	return g.spans[phrase]
}

// made adds a phrase whose words are known to be sayable: they have been searched.
func (g *graph) made(p intents.Phrase, number func(intents.Slot) intents.Expr) span {
	sp, err := g.add(p, number)
	if err != nil {
		panic(err)
	}
	return sp
}

// usualSpans are a phrase with each of its usual numbers.
func (g *graph) usualSpans(phrase int) []span {
	p := g.phrases[phrase]
	if g.usual[phrase] == nil && p.HasSlot() {
		for _, x := range p.Callout.Usual {
			sp := g.made(p, func(intents.Slot) intents.Expr { return intents.SayNumber(int(x)) })
			g.usual[phrase] = append(g.usual[phrase], sp)
		}
	}
	return g.usual[phrase]
}

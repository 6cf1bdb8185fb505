package acoustic

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/viterin/vek/vek32"
)

// judges is how many of the last layers serve the callouts only.
const judges = 2

// batch is how many outputs are made at once. Each row of weights is fetched once for all of
// them: the weights of all nets are more than a core's caches hold beside the search.
const batch = 4

// lookahead is how many outputs (20 ms each) the net lags behind its input.
const lookahead = 7

// ear is what a net makes of the log mel bands before it hears them.
type ear int

const (
	earPlain ear = iota // nothing
	earLevel            // mean normalisation: each band less its running mean
	earGain             // per-channel energy normalisation (Wang et al. 2017, ICASSP), trained with the net
)

type layer struct {
	dilation int
	dw, db   []float32 // depthwise: [k*c] (tap-major), [c]
	pw       matrix    // pointwise: [c*c]
	pb       []float32 // [c]
}

// weights are shared by all streams of a process.
type weights struct {
	c, k     int
	priors   []float32 // natural log
	fw, fb   []float32 // front: [c * 5*bands], [c]
	layers   []layer
	ow, cw   matrix    // phones, from the layer before the last two: [40*c]; callouts, from the last: [n*c]
	ob, cb   []float32 // [40]; [n], 0 is none
	phoneNum int
	ear      ear       // what is made of the bands before the net
	gain     []float32 // of earGain, per band: power of the smoothed energy, offset, power of the ratio
	warp     float64   // vocal tract length normalisation: of the frequency axis that it hears
}

// tensor is a part of a net: numbers, or those of matrix.
type tensor struct {
	shape []int
	data  []float32
	matrix
}

// floats are its numbers at full width.
func (t tensor) floats() []float32 {
	if t.data != nil {
		return t.data
	}
	return t.matrix.floats()
}

// loadWeights parses the weights file; any bad byte gives an error. The matrices stay in the file.
func loadWeights(file string) (*weights, error) {
	r := &reader{file}
	if head, ok := r.take(8); !ok || head[:4] != "CXAM" || head[4] != 3 {
		return nil, fmt.Errorf("acoustic model: not a weights file of version 3")
	}
	w := &weights{k: 5}
	for r.left != "" {
		name, t, err := r.tensor()
		if err != nil {
			return nil, fmt.Errorf("acoustic model: %w", err)
		}
		w.take(name, t)
	}
	if err := w.check(); err != nil {
		return nil, err
	}
	return w, nil
}

// reader is what is left of a weights file.
type reader struct{ left string }

// take takes n bytes, if there are so many.
func (r *reader) take(n int) (b string, ok bool) {
	if n > len(r.left) {
		return "", false
	}
	b, r.left = r.left[:n], r.left[n:]
	return b, true
}

func (r *reader) size(limit uint32) (int, error) {
	b, ok := r.take(4)
	if !ok {
		return 0, io.ErrUnexpectedEOF
	}
	n := binary.LittleEndian.Uint32([]byte(b))
	if n > limit {
		return 0, fmt.Errorf("size %d is out of bounds", n)
	}
	return int(n), nil
}

func (r *reader) tensor() (name string, t tensor, err error) {
	size, err := r.size(64)
	if err != nil {
		return "", t, err
	}
	name, ok := r.take(size)
	rank, err := r.size(4)
	if err != nil || !ok {
		return "", t, cmp.Or(err, io.ErrUnexpectedEOF)
	}
	count := 1
	for range rank {
		d, err := r.size(4096)
		if err != nil {
			return "", t, err
		}
		t.shape = append(t.shape, d)
		if count *= d; count > len(r.left) {
			return "", t, fmt.Errorf("tensor %s: the file is too short", name)
		}
	}
	if rank < 2 {
		t.data, ok = r.halves(count)
	} else if t.scale, ok = r.halves(t.shape[0]); ok {
		t.rows, ok = r.take(count)
	}
	if !ok {
		return "", t, io.ErrUnexpectedEOF
	}
	return name, t, nil
}

// halves takes n 16-bit floats.
func (r *reader) halves(n int) (out []float32, ok bool) {
	raw, ok := r.take(2 * n)
	if !ok {
		return nil, false
	}
	out = make([]float32, n)
	for i := range out {
		out[i] = half(uint16(raw[2*i]) | uint16(raw[2*i+1])<<8)
	}
	return out, true
}

// half decodes a 16-bit float (IEEE 754-2008, binary16).
func half(h uint16) float32 {
	sign, exp, frac := float32(1), int(h>>10&31), float64(h&1023)
	if h>>15 == 1 {
		sign = -1
	}
	switch exp {
	case 0:
		return sign * float32(math.Ldexp(frac, -24))
	case 31:
		return 0 // infinities and NaN are no weights
	}
	return sign * float32(math.Ldexp(1024+frac, exp-25))
}

func (w *weights) take(name string, t tensor) {
	if to := map[string]*matrix{"out.w": &w.ow, "call.w": &w.cw}[name]; to != nil {
		*to = t.matrix
		return
	}
	if to := map[string]*[]float32{"front.b": &w.fb, "out.b": &w.ob, "call.b": &w.cb}[name]; to != nil {
		*to = t.data
		return
	}
	switch {
	case name == "level" && len(t.data) == 1:
		w.ear = ear(t.data[0])
	case name == "gain" && len(t.data) == 3*bands:
		w.gain = t.data
	case name == "warp" && len(t.data) == 1:
		w.warp = float64(t.data[0])
	case name == "priors":
		w.priors, w.phoneNum = t.data, len(t.data)
	case name == "front.w" && len(t.shape) == 3:
		w.takeFront(t)
	default:
		w.takeLayer(name, t)
	}
}

// takeFront lays [c][band][tap] out as [c][tap][band], the order frames arrive in.
func (w *weights) takeFront(t tensor) {
	w.c = t.shape[0]
	data := t.floats()
	w.fw = make([]float32, len(data))
	for o := 0; o < w.c; o++ {
		for b := 0; b < t.shape[1]; b++ {
			for k := 0; k < t.shape[2]; k++ {
				w.fw[(o*t.shape[2]+k)*t.shape[1]+b] = data[(o*t.shape[1]+b)*t.shape[2]+k]
			}
		}
	}
}

// takeLayer takes a part of a layer; "dwN.w", with dilation N, begins a new one.
func (w *weights) takeLayer(name string, t tensor) {
	if strings.HasPrefix(name, "dw") && strings.HasSuffix(name, ".w") && len(t.shape) == 2 {
		var d int
		fmt.Sscanf(name, "dw%d.w", &d)
		c, k, data := t.shape[0], t.shape[1], t.floats()
		x := make([]float32, c*k)
		for i := 0; i < c; i++ {
			for j := 0; j < k; j++ {
				x[j*c+i] = data[i*k+j]
			}
		}
		w.k = k
		w.layers = append(w.layers, layer{dilation: d, dw: x})
		return
	}
	if len(w.layers) == 0 {
		return
	}
	switch last := &w.layers[len(w.layers)-1]; {
	case strings.HasPrefix(name, "dw"):
		last.db = t.data
	case name == "pw.w":
		last.pw = t.matrix
	case name == "pw.b":
		last.pb = t.data
	}
}

func (w *weights) check() error {
	c := w.c
	sizes := [][2]int{
		{len(w.fw), c * 5 * bands},
		{len(w.fb), c},
		{w.phoneNum, 40},
		{len(w.ow.rows), 40 * c},
		{len(w.ow.scale), 40},
		{len(w.ob), 40},
		{len(w.cw.rows), len(w.cb) * c},
		{len(w.cw.scale), len(w.cb)},
	}
	ok := c > 0 && w.warp > .5 && w.warp < 1.5 && len(w.layers) > judges && len(w.cb) > 1 && w.hasEar()
	for _, l := range w.layers {
		ok = ok && l.dilation > 0 && l.dilation < 64
		sizes = append(
			sizes,
			[2]int{len(l.dw), c * w.k},
			[2]int{len(l.db), c},
			[2]int{len(l.pw.rows), c * c},
			[2]int{len(l.pw.scale), c},
			[2]int{len(l.pb), c},
		)
	}
	for _, is := range sizes {
		ok = ok && is[0] == is[1]
	}
	if !ok {
		return fmt.Errorf("acoustic model: the tensors do not fit together")
	}
	return nil
}

// hasEar reports whether it says what is made of the bands, and has the numbers for it.
func (w *weights) hasEar() bool {
	return w.ear == earPlain || w.ear == earLevel || w.ear == earGain && len(w.gain) == 3*bands
}

// net is one stream's state: the frames each layer still looks back on.
type net struct {
	w     *weights
	front []float32   // the last mel frames, [n][bands]
	past  [][]float32 // per layer a ring of (k-1)*dilation+1 input frames
	at    []int
	x, h  []float32 // [batch*c]
	y     []float32 // [batch*c]
	tap   []float32 // [c]
	out   []float32 // log posteriors of the phones, [batch*phones]
	call  []float32 // and of the callout that has just ended, [batch*callouts]
}

func newNet(w *weights) *net {
	n := &net{
		w:    w,
		x:    make([]float32, batch*w.c),
		h:    make([]float32, batch*w.c),
		y:    make([]float32, batch*w.c),
		tap:  make([]float32, w.c),
		out:  make([]float32, batch*w.phoneNum),
		call: make([]float32, batch*len(w.cb)),
		at:   make([]int, len(w.layers)),
	}
	for _, l := range w.layers {
		n.past = append(n.past, make([]float32, ((w.k-1)*l.dilation+1)*w.c))
	}
	return n
}

// push takes one mel frame and reports whether n.out and n.call are new: an output takes five
// frames, and begins two after the one before.
func (n *net) push(mel []float32) bool {
	n.front = append(n.front, mel...)
	if len(n.front) < (2*batch+3)*bands {
		return false
	}
	multiplyRows(n.x, n.w.fw, n.w.fb, n.front, 5*bands, 2*bands)
	for o := range n.x {
		n.x[o] = max(0, n.x[o])
	}
	n.front = n.front[:copy(n.front, n.front[2*batch*bands:])]
	for i := range n.w.layers {
		if i == len(n.w.layers)-judges {
			n.w.ow.multiply(n.out, n.w.ob, n.x)
		}
		n.layer(i)
	}
	n.w.cw.multiply(n.call, n.w.cb, n.x)
	normaliseRows(n.out)
	normaliseRows(n.call)
	return true
}

// normaliseRows makes logarithms of probabilities of each row of x.
func normaliseRows(x []float32) {
	for row := range slices.Chunk(x, len(x)/batch) {
		normalise(row)
	}
}

// normalise makes logarithms of probabilities of x.
func normalise(x []float32) {
	peak, sum := float32(math.Inf(-1)), 0.0
	for _, v := range x {
		peak = max(peak, v)
	}
	for _, v := range x {
		sum += math.Exp(float64(v - peak))
	}
	lse := peak + float32(math.Log(sum))
	for o := range x {
		x[o] -= lse
	}
}

// layer adds one residual block to n.x.
func (n *net) layer(i int) {
	l, c := &n.w.layers[i], n.w.c
	for row := range batch {
		n.look(i, n.x[row*c:(row+1)*c], n.h[row*c:(row+1)*c])
	}
	l.pw.multiply(n.y, l.pb, n.h)
	for o, v := range n.y {
		n.x[o] += max(0, v)
	}
}

// look sets h to the sum of what layer i makes of its new input x and those that it looks back on.
func (n *net) look(i int, x, h []float32) {
	l, ring, c := &n.w.layers[i], n.past[i], n.w.c
	slots := len(ring) / c
	copy(ring[n.at[i]*c:], x)
	copy(h, l.db)
	for j := range n.w.k {
		back := (n.w.k - 1 - j) * l.dilation
		s := (n.at[i] - back + slots) % slots
		vek32.Mul_Into(n.tap, ring[s*c:(s+1)*c], l.dw[j*c:(j+1)*c])
		vek32.Add_Inplace(h, n.tap)
	}
	n.at[i] = (n.at[i] + 1) % slots
}

// multiplyRows is matrix.multiply of the front: its rows are at full width, and those of x begin
// every step. The library's product of two rows uses the widest SIMD that the machine has: half
// the time of Gonum's, a tenth of loops in Go.
func multiplyRows(y, w, b, x []float32, n, step int) {
	for o, bias := range b {
		row := w[o*n : (o+1)*n]
		for k := range batch {
			y[k*len(b)+o] = bias + vek32.Dot(row, x[k*step:k*step+n])
		}
	}
}

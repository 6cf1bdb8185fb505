package acoustic

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas32"
)

// pass is one net over a whole reading, forward and back: all rows (20 ms each) at once. net
// does the same for a stream, row by row.
type pass struct {
	w              *weights
	pw             [][]float32 // by layer, at full width
	ow             []float32
	rows           int
	base           []float32 // [rows*c] sums of the first layer
	on             [][]bool  // by layer, from the first: the sums above zero
	x, h, y        []float32 // [rows*c]
	out            []float32 // [rows*phones] log posteriors
	hidden, phones adam      // what is learned
}

// adam is some numbers that are learned, from zero.
type adam struct{ x, slope, mean, square []float32 }

func newAdam(n int) adam {
	return adam{make([]float32, n), make([]float32, n), make([]float32, n), make([]float32, n)}
}

// step goes down the slope; n steps were taken before.
func (a *adam) step(rate float64, n int) {
	const keep, keepSquare = .9, .999
	first, second := 1-math.Pow(keep, float64(n+1)), 1-math.Pow(keepSquare, float64(n+1))
	for i, s := range a.slope {
		a.mean[i] = keep*a.mean[i] + (1-keep)*s
		a.square[i] = keepSquare*a.square[i] + (1-keepSquare)*s*s
		a.x[i] -= float32(rate * float64(a.mean[i]) / first / (math.Sqrt(float64(a.square[i])/second) + 1e-8))
	}
}

// newPass takes the frames as the net's ear has them, [frames*bands].
func newPass(w *weights, heard []float32) *pass {
	rows := max(0, (len(heard)/bands-3)/2) // a row takes five frames, and begins two after the one before
	p := &pass{w: w, rows: rows, out: make([]float32, rows*w.phoneNum), ow: w.ow.floats(),
		hidden: newAdam(w.c), phones: newAdam(w.phoneNum)}
	for _, to := range []*[]float32{&p.base, &p.x, &p.h, &p.y} {
		*to = make([]float32, rows*w.c)
	}
	for _, l := range w.layers[:len(w.layers)-judges] {
		p.pw = append(p.pw, l.pw.floats())
	}
	for range len(w.layers) - judges + 1 {
		p.on = append(p.on, make([]bool, rows*w.c))
	}
	windows := make([]float32, 0, rows*5*bands)
	for r := range rows {
		windows = append(windows, heard[2*r*bands:(2*r+5)*bands]...)
	}
	fill(p.base, w.fb)
	multiply(p.base, windows, w.fw, rows, 5*bands, w.c, blas.Trans)
	return p
}

// posteriors are the log posteriors of a row.
func (p *pass) posteriors(row int) []float32 {
	return p.out[row*p.w.phoneNum : (row+1)*p.w.phoneNum]
}

// forward hears the reading with what is learned.
func (p *pass) forward() {
	c := p.w.c
	for i, v := range p.base {
		v += p.hidden.x[i%c]
		p.on[0][i] = v > 0
		p.x[i] = max(0, v)
	}
	for i := range len(p.on) - 1 {
		l := &p.w.layers[i]
		fill(p.h, l.db)
		p.taps(l, func(from, to int, d []float32) {
			h, x := p.h[to*c:(to+1)*c], p.x[from*c:(from+1)*c]
			for q := range h {
				h[q] += x[q] * d[q]
			}
		})
		fill(p.y, l.pb)
		multiply(p.y, p.h, p.pw[i], p.rows, c, c, blas.Trans)
		on := p.on[i+1]
		for q, v := range p.y {
			if on[q] = v > 0; on[q] {
				p.x[q] += v
			}
		}
	}
	fill(p.out, p.w.ob)
	multiply(p.out, p.x, p.ow, p.rows, c, p.w.phoneNum, blas.Trans)
	for r := range p.rows {
		row := p.posteriors(r)
		for i := range row {
			row[i] += p.phones.x[i]
		}
		normalise(row)
	}
}

// backward takes the slopes of the phones' logits, [rows*phones], to those of what is learned.
func (p *pass) backward(slopes []float32) {
	c := p.w.c
	clear(p.phones.slope)
	for i, s := range slopes {
		p.phones.slope[i%p.w.phoneNum] += s
	}
	clear(p.x) // from here on its slopes
	multiply(p.x, slopes, p.ow, p.rows, p.w.phoneNum, c, blas.NoTrans)
	for i := len(p.on) - 2; i >= 0; i-- {
		l, on := &p.w.layers[i], p.on[i+1]
		for q, s := range p.x {
			if p.y[q] = 0; on[q] {
				p.y[q] = s
			}
		}
		clear(p.h)
		multiply(p.h, p.y, p.pw[i], p.rows, c, c, blas.NoTrans)
		p.taps(l, func(from, to int, d []float32) {
			h, x := p.h[to*c:(to+1)*c], p.x[from*c:(from+1)*c]
			for q := range x {
				x[q] += h[q] * d[q]
			}
		})
	}
	clear(p.hidden.slope)
	for q, s := range p.x {
		if p.on[0][q] {
			p.hidden.slope[q%c] += s
		}
	}
}

// taps calls each for every row and tap of a layer's depthwise convolution.
func (p *pass) taps(l *layer, each func(from, to int, d []float32)) {
	c := p.w.c
	for j := range p.w.k {
		back := (p.w.k - 1 - j) * l.dilation
		for r := back; r < p.rows; r++ {
			each(r-back, r, l.dw[j*c:(j+1)*c])
		}
	}
}

// fill sets each row of x.
func fill(x, row []float32) {
	for at := 0; at+len(row) <= len(x); at += len(row) {
		copy(x[at:], row)
	}
}

// multiply adds to y [rows*n] the product of x [rows*m] and w, [n*m] transposed or [m*n].
func multiply(y, x, w []float32, rows, m, n int, t blas.Transpose) {
	if rows == 0 {
		return
	}
	b := blas32.General{Rows: m, Cols: n, Stride: n, Data: w}
	if t == blas.Trans {
		b = blas32.General{Rows: n, Cols: m, Stride: m, Data: w}
	}
	blas32.Gemm(blas.NoTrans, t, 1, blas32.General{Rows: rows, Cols: m, Stride: m, Data: x}, b, 1,
		blas32.General{Rows: rows, Cols: n, Stride: n, Data: y})
}

package acoustic

// matrix is rows of weights as the file of a net has them: 8 bits each, and what those of a row are
// multiplied with. They stay so: at full width, those of all nets are more than a core's caches
// hold, and more memory than all else that listens.
type matrix struct {
	rows  string // one after the other, signed
	scale []float32
}

// row is one of the rows.
func (m *matrix) row(o int) string {
	n := len(m.rows) / len(m.scale)
	return m.rows[o*n : (o+1)*n]
}

// floats is all of it at full width.
func (m *matrix) floats() []float32 {
	out := make([]float32, 0, len(m.rows))
	for o, scale := range m.scale {
		row := m.row(o)
		for i := range len(row) {
			out = append(out, float32(int8(row[i]))*scale)
		}
	}
	return out
}

// multiply sets each of the batch of y to W x + b for that of the batch of x, which lie one behind
// the other. Each row is fetched, and widened, once for all of them.
func (m *matrix) multiply(y, b, x []float32) {
	step := len(x) / batch
	var sums [batch]float32
	for o, bias := range b {
		dots(&sums, m.row(o), m.scale[o], x, step)
		for k, sum := range sums {
			y[k*len(b)+o] = bias + sum
		}
	}
}

// plainDots is dots in Go, for processors without the instructions.
func plainDots(sums *[batch]float32, row string, scale float32, x []float32, step int) {
	a, b, c, d := x[:len(row)], x[step:step+len(row)], x[2*step:2*step+len(row)], x[3*step:3*step+len(row)]
	var p, q, r, s float32
	for i := range a {
		w := float32(int8(row[i])) * scale
		p, q, r, s = p+w*a[i], q+w*b[i], r+w*c[i], s+w*d[i]
	}
	*sums = [batch]float32{p, q, r, s}
}

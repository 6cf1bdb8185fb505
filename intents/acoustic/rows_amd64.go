package acoustic

import "golang.org/x/sys/cpu"

var wide = cpu.X86.HasAVX2 && cpu.X86.HasFMA

// dots sets sums to the products of a row, each of its numbers times scale, with those rows of x
// that begin every step.
func dots(sums *[batch]float32, row string, scale float32, x []float32, step int) {
	if !wide || len(row) < 32 || len(row)%32 != 0 {
		plainDots(sums, row, scale, x, step)
		return
	}
	_ = x[3*step+len(row)-1]
	wideDots(sums, row, scale, &x[0], step)
}

// wideDots is dots in 32 lanes, for rows that are a multiple of them.
//
//go:noescape
func wideDots(sums *[batch]float32, row string, scale float32, x *float32, step int)

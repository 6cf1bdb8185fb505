//go:build !amd64

package acoustic

// dots sets sums to the products of a row, each of its numbers times scale, with those rows of x
// that begin every step.
func dots(sums *[batch]float32, row string, scale float32, x []float32, step int) {
	plainDots(sums, row, scale, x, step)
}

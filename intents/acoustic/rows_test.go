package acoustic

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/viterin/vek/vek32"
)

// The products of narrow rows are those of rows at full width, to the last bit where the machine
// has the instructions for both.
func TestDots(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{1, 31, 32, 64, 96, 512} {
		row, x := make([]byte, n), make([]float32, 4*(n+3))
		for i := range row {
			row[i] = byte(r.Uint32())
		}
		for i := range x {
			x[i] = float32(r.NormFloat64())
		}
		m := matrix{rows: string(row), scale: []float32{.0123}}
		var got, plain [batch]float32
		dots(&got, m.row(0), m.scale[0], x, n+3)
		plainDots(&plain, m.row(0), m.scale[0], x, n+3)
		for k := range batch {
			want := vek32.Dot(m.floats(), x[k*(n+3):k*(n+3)+n])
			if n%32 == 0 && got[k] != want {
				t.Errorf("%d numbers, row %d: got %v, want %v", n, k, got[k], want)
			}
			for _, x := range []float32{got[k], plain[k]} {
				if d := x - want; d > 1e-3 || d < -1e-3 {
					t.Errorf("%d numbers, row %d: got %v, want about %v", n, k, x, want)
				}
			}
		}
	}
}

// BenchmarkDots is one row of weights for a batch of outputs.
func BenchmarkDots(b *testing.B) {
	m := matrix{rows: string(make([]byte, 512)), scale: []float32{1}}
	x := make([]float32, batch*512)
	var sums [batch]float32
	for b.Loop() {
		dots(&sums, m.row(0), 1, x, 512)
	}
}

// Every net of the folder is built in, in the order of their names.
func TestBuiltInNets(t *testing.T) {
	built, err := netFiles()
	names, _ := filepath.Glob("net*.bin")
	if err != nil || len(names) != len(built) {
		t.Fatalf("%d nets are built in, %d lie here, %v", len(built), len(names), err)
	}
	for i, name := range names {
		if b, err := os.ReadFile(name); err != nil || string(b) != built[i] {
			t.Errorf("%s is not built in as number %d, %v", name, i+1, err)
		}
	}
}

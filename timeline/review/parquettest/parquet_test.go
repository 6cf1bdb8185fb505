// Package parquettest holds the Parquet export to Apache's own Go
// implementation. It is a module of its own: `make test` runs it, and whoever
// builds coxswain does not fetch it.
package parquettest

import (
	"bytes"
	"fmt"
	"testing"
	"time"

	"github.com/apache/arrow-go/v18/parquet"
	"github.com/apache/arrow-go/v18/parquet/file"

	"coxswain/timeline/review"
)

// records are invented: twelve, a month apart, a third with a known first shock.
func records() (list []review.Summary) {
	for k := range 12 {
		s := review.Summary{Name: fmt.Sprintf("r%d", k), Path: fmt.Sprintf("records/r%d", k),
			Wall:    time.Date(2026, time.Month(1+k), 2, 3, 4, 5, 6_000_000, time.UTC),
			Seconds: 600.5, Rhythm: []string{"VF", "PEA"}[k%2], Faults: k, Amended: k == 3,
			Figures: map[string]float64{"compression_fraction": 0.7 + float64(k)/100}}
		if k%3 == 0 {
			s.Figures["first_shock"] = 90 + float64(k)
			s.Twin = "r1"
		}
		list = append(list, s)
	}
	return list
}

// Every row is there as it was written, times to the millisecond; a figure that
// is not known is null, not zero. The names of the columns are those of the
// queries in the README.
func TestArrowReadsTheExport(t *testing.T) {
	list := records()
	var b bytes.Buffer
	if err := review.WriteParquet(&b, list); err != nil {
		t.Fatal(err)
	}
	f, err := file.NewParquetReader(bytes.NewReader(b.Bytes()))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if f.NumRows() != int64(len(list)) || f.NumRowGroups() != 1 {
		t.Fatalf("%d rows in %d groups, want %d in one", f.NumRows(), f.NumRowGroups(), len(list))
	}
	names, walls := texts(t, f, "name"), integers(t, f, "wall")
	rhythms, faults := texts(t, f, "rhythm"), integers(t, f, "faults")
	twins, marked := make([]parquet.ByteArray, len(list)), make([]int16, len(list))
	if _, n, err := column(t, f, "twin_of").(*file.ByteArrayColumnChunkReader).ReadBatch(int64(len(list)), twins, marked, nil); err != nil ||
		n != 4 || twins[0].String() != "r1" || marked[0] != 1 || marked[1] != 0 {
		t.Errorf("twins %v in rows %v, want r1 in each third: %v", twins, marked, err)
	}
	fraction, shock := numbers(t, f, "compression_fraction"), numbers(t, f, "first_shock")
	for k, s := range list {
		if names[k] != s.Name || walls[k] != s.Wall.UnixMilli() || rhythms[k] != s.Rhythm || faults[k] != int64(s.Faults) {
			t.Errorf("row %d is read as %s %d %s %d", k, names[k], walls[k], rhythms[k], faults[k])
		}
		if x := fraction[k]; x == nil || *x != s.Figures["compression_fraction"] {
			t.Errorf("row %d: compression fraction %v", k, x)
		}
		if want, known := s.Figures["first_shock"]; known != (shock[k] != nil) || known && *shock[k] != want {
			t.Errorf("row %d: first shock %v, want %v (known: %v)", k, shock[k], want, known)
		}
	}
}

// column finds a column's chunk by name.
func column(t *testing.T, f *file.Reader, name string) file.ColumnChunkReader {
	t.Helper()
	at := f.MetaData().Schema.ColumnIndexByName(name)
	if at < 0 {
		t.Fatalf("no column %s", name)
	}
	c, err := f.RowGroup(0).Column(at)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func texts(t *testing.T, f *file.Reader, name string) (out []string) {
	raw := make([]parquet.ByteArray, f.NumRows())
	if _, n, err := column(t, f, name).(*file.ByteArrayColumnChunkReader).ReadBatch(int64(len(raw)), raw, nil, nil); err != nil ||
		n != len(raw) {
		t.Fatalf("%s: %d of %d: %v", name, n, len(raw), err)
	}
	for _, b := range raw {
		out = append(out, b.String())
	}
	return out
}

func integers(t *testing.T, f *file.Reader, name string) []int64 {
	out := make([]int64, f.NumRows())
	if _, n, err := column(t, f, name).(*file.Int64ColumnChunkReader).ReadBatch(int64(len(out)), out, nil, nil); err != nil || n != len(out) {
		t.Fatalf("%s: %d of %d: %v", name, n, len(out), err)
	}
	return out
}

// numbers reads an optional column; nil is null.
func numbers(t *testing.T, f *file.Reader, name string) (out []*float64) {
	values, there := make([]float64, f.NumRows()), make([]int16, f.NumRows())
	if _, _, err := column(t, f, name).(*file.Float64ColumnChunkReader).ReadBatch(int64(len(values)), values, there, nil); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	for _, d := range there {
		if d == 0 {
			out = append(out, nil)
			continue
		}
		out, values = append(out, &values[0]), values[1:]
	}
	return out
}

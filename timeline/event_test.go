package timeline

import "testing"

// What String prints, ParseTime reads.
func FuzzParseTime(f *testing.F) {
	f.Add("3:05.2")
	f.Add("-1:00")
	f.Add("NaN")
	f.Fuzz(func(t *testing.T, s string) {
		x, err := ParseTime(s)
		if err != nil {
			return
		}
		if x < 0 {
			t.Fatal(x)
		}
		if y, err := ParseTime(x.String()); err != nil || y-x > Rate/10 || x-y > Rate/10 {
			t.Fatalf("%q: %v %v %v", s, x, y, err)
		}
	})
}

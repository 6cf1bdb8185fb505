package audio

import (
	"encoding/binary"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

func clipFile(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("../prompts/clips", name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// opusdec, of the people who wrote the codec, decodes the same clip to the same
// samples: as many, and the difference 45 dB below the sound.
func TestOpusAgainstTheReferenceDecoder(t *testing.T) {
	if _, err := exec.LookPath("opusdec"); err != nil {
		t.Skip("no opusdec: `make test` installs opus-tools")
	}
	for _, name := range []string{"copied.opus", "twenty.opus", "a-minute.opus", "shock-compress.opus"} {
		o, err := LoadOpus(name, clipFile(t, name))
		if err != nil {
			t.Fatal(err)
		}
		raw := filepath.Join(t.TempDir(), "out.raw")
		if b, err := exec.Command("opusdec", "--quiet", "--rate", "48000", "--no-dither", "../prompts/clips/"+name,
			raw).CombinedOutput(); err != nil {
			t.Fatalf("opusdec: %v: %s", err, b)
		}
		b, err := os.ReadFile(raw)
		if err != nil {
			t.Fatal(err)
		}
		got := Render(o)
		if len(got) != len(b)/2 || len(got) != o.Len() {
			t.Errorf("%s: %d samples, %d promised, %d of opusdec", name, len(got), o.Len(), len(b)/2)
			continue
		}
		var sound, off float64
		for i, x := range got {
			want := float64(int16(binary.LittleEndian.Uint16(b[2*i:]))) / 32768
			sound, off = sound+want*want, off+(float64(x)-want)*(float64(x)-want)
		}
		if snr := 10 * math.Log10(sound/off); snr < 45 {
			t.Errorf("%s: %.0f dB", name, snr)
		}
	}
}

func TestOpusTitle(t *testing.T) {
	o, err := LoadOpus("x", clipFile(t, "copied.opus"))
	if err != nil || !strings.EqualFold(o.Title(), "copied") {
		t.Errorf("title %q, %v", o.Title(), err)
	}
	head := "OpusTags\x03\x00\x00\x00lib\x02\x00\x00\x00\x03\x00\x00\x00a=b"
	for tags, want := range map[string]string{
		"": "", "title=": "", "OpusTags\xff\xff\xff\xffTITLE=x": "", head: "", head + "\xff": "",
		head + "\x07\x00\x00\x00Title=xy":         "x",
		head + "\xff\xff\xff\xffTITLE=to the end": "to the end",
	} {
		if got := title([]byte(tags)); got != want {
			t.Errorf("title in %q is %q, want %q", tags, got, want)
		}
	}
}

// A file that is none, or is cut off, is refused or plays what is there: no
// panic, never more than it promised, and the streamer says what was wrong.
func FuzzOpus(f *testing.F) {
	whole := clipFile(f, "to.opus")
	f.Add(whole)
	f.Add(whole[:len(whole)/2])
	f.Add([]byte("OggS"))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		o, err := LoadOpus("x", b)
		if err != nil {
			return
		}
		if n := len(Render(o)); n > o.Len() {
			t.Errorf("%d samples of %d promised", n, o.Len())
		}
	})
}

// Sounds follow each other without a gap, and in pieces of any length.
func TestSequencePlaysItsPartsInOrder(t *testing.T) {
	s := Sequence{Clip{1, 2}, Silence(3), Clip{4}, Sequence{}, Clip{5}}
	want := Clip{1, 2, 0, 0, 0, 4, 5}
	for range 2 { // it can be played again
		if got := Render(s); s.Len() != len(want) || !slices.Equal(got, want) {
			t.Errorf("%v of %d, want %v", got, s.Len(), want)
		}
	}
	o, err := LoadOpus("x", clipFile(t, "copied.opus"))
	if err != nil {
		t.Fatal(err)
	}
	stream := o.Stream()
	var pieces Clip
	for n := 1; ; n = n%997 + 1 { // pieces of any length
		buf := make([][2]float64, n)
		k, ok := stream.Stream(buf)
		for _, x := range buf[:k] {
			pieces = append(pieces, float32(x[0]))
		}
		if !ok {
			break
		}
	}
	if !slices.Equal(pieces, Render(o)) {
		t.Error("played in pieces it is not the same")
	}
	if err := stream.Err(); err != nil {
		t.Error(err)
	}
}

// BenchmarkOpus is 10 ms of a sentence.
func BenchmarkOpus(b *testing.B) {
	o, err := LoadOpus("x", clipFile(b, "coxswain-is-listening-supports-a-trained-team-follow-local-protocol.opus"))
	if err != nil {
		b.Fatal(err)
	}
	buf := make([][2]float64, Block)
	stream := o.Stream()
	for b.Loop() {
		if _, ok := stream.Stream(buf); !ok {
			stream = o.Stream()
		}
	}
}

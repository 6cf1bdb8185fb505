package recorder

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"coxswain/audio"
)

// file is a WAV file to be made.
type file struct {
	format, channels, bits, hz int
	extensible                 bool
	before                     []byte // chunks before the sound
	says                       int64  // one more than the length in the header, if that is not the true one
	seconds, tone              float64
}

// bytes makes the file: a sine of half scale on the first channel, the others silent.
func (w file) bytes() []byte {
	var data, out bytes.Buffer
	for i := range int(w.seconds * float64(w.hz)) {
		x := 0.5 * math.Sin(2*math.Pi*w.tone*float64(i)/float64(w.hz))
		for c := range w.channels {
			if c > 0 {
				x = 0
			}
			switch {
			case w.format == ieeeFloat:
				binary.Write(&data, binary.LittleEndian, float32(x))
			case w.bits == 24:
				v := int32(x * (1 << 23))
				data.Write([]byte{byte(v), byte(v >> 8), byte(v >> 16)})
			case w.bits == 32:
				binary.Write(&data, binary.LittleEndian, int32(x*(1<<31)))
			default:
				binary.Write(&data, binary.LittleEndian, int16(x*(1<<15)))
			}
		}
	}
	le := func(v ...any) {
		for _, x := range v {
			binary.Write(&out, binary.LittleEndian, x)
		}
	}
	frame := w.channels * w.bits / 8
	tag, size := uint16(w.format), uint32(16)
	if w.extensible {
		tag, size = extensible, 40
	}
	out.WriteString("RIFF\x00\x00\x00\x00WAVEfmt ")
	le(size, tag, uint16(w.channels), uint32(w.hz), uint32(w.hz*frame), uint16(frame), uint16(w.bits))
	if w.extensible {
		le(uint16(22), uint16(w.bits), uint32(0), uint16(w.format))
		out.WriteString("\x00\x00\x00\x00\x10\x00\x80\x00\x00\xaa\x00\x38\x9b\x71")
	}
	out.Write(w.before)
	says := uint32(data.Len())
	if w.says != 0 {
		says = uint32(w.says - 1)
	}
	out.WriteString("data")
	le(says)
	out.Write(data.Bytes())
	return out.Bytes()
}

func (w file) write(t testing.TB) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "in.wav")
	if err := os.WriteFile(path, w.bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func readAll(r *Reader, piece int) (x []float32, err error) {
	buf := make([]float32, piece)
	for {
		n, err := r.Read(buf)
		x = append(x, buf[:n]...)
		if err == io.EOF {
			return x, nil
		}
		if err != nil || n == 0 {
			return x, err
		}
	}
}

// Whatever the format, the sine that was put in comes out: as long, at the same
// moment, its error 60 dB below it (computed from the sine).
func TestEveryFormatIsHeard(t *testing.T) {
	for _, c := range []struct {
		w    file
		note string
	}{
		{file{format: pcm, channels: 1, bits: 16, hz: 48000}, ""},
		{file{format: pcm, channels: 2, bits: 16, hz: 48000}, "mean of its 2 channels"},
		{file{format: pcm, channels: 6, bits: 24, hz: 48000, extensible: true}, "mean of its 6 channels"},
		{file{format: pcm, channels: 1, bits: 24, hz: 96000}, "from 96000 Hz to 48000 Hz"},
		{file{format: pcm, channels: 1, bits: 32, hz: 192000}, "from 192000 Hz"},
		{file{format: ieeeFloat, channels: 1, bits: 32, hz: 44100}, "from 44100 Hz"},
		{file{format: ieeeFloat, channels: 2, bits: 32, hz: 22050, extensible: true}, "from 22050 Hz"},
		{file{format: pcm, channels: 1, bits: 16, hz: 16000}, "from 16000 Hz"},
		{file{format: pcm, channels: 1, bits: 16, hz: 8000}, "nothing above 4000 Hz"},
		{file{format: pcm, channels: 1, bits: 16, hz: 11025}, "nothing above 5512 Hz"},
	} {
		c.w.seconds, c.w.tone = 0.7, 997
		r, err := OpenMono(c.w.write(t), audio.Rate)
		if err != nil {
			t.Errorf("%+v: %v", c.w, err)
			continue
		}
		x, err := readAll(r, 479)
		r.Close()
		frames := int(c.w.seconds * float64(c.w.hz))
		want := (frames*audio.Rate + c.w.hz - 1) / c.w.hz
		if err != nil || len(x) != want || r.Samples != int64(want) || r.SampleHz != audio.Rate || r.Channels != 1 {
			t.Errorf("%+v: %d samples of %d, %d promised, %v", c.w, len(x), want, r.Samples, err)
			continue
		}
		if notes := strings.Join(r.Notes, "; "); c.note == "" && notes != "" || !strings.Contains(notes, c.note) {
			t.Errorf("%+v: notes %q, want %q", c.w, notes, c.note)
		}
		gain, sound, off := 0.5/float64(c.w.channels), 0.0, 0.0
		for i := 2400; i < len(x)-2400; i++ { // the filter needs a little on either side
			y := gain * math.Sin(2*math.Pi*c.w.tone*float64(i)/audio.Rate)
			sound, off = sound+y*y, off+(float64(x[i])-y)*(float64(x[i])-y)
		}
		if snr := 10 * math.Log10(sound/(off+1e-15)); snr < 60 {
			t.Errorf("%+v: %.0f dB", c.w, snr)
		}
	}
}

// sox converts the same file: an outside reader of what we read.
func TestConversionAgainstSox(t *testing.T) {
	if _, err := exec.LookPath("sox"); err != nil {
		t.Skip("no sox: `make test` installs it")
	}
	path := file{format: pcm, channels: 2, bits: 24, hz: 44100, seconds: 0.5, tone: 3000}.write(t)
	raw, err := exec.Command("sox", path, "-t", "f32", "-", "rate", "-v", "48000", "remix", "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	r, err := OpenMono(path, audio.Rate)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	x, err := readAll(r, 1000)
	if err != nil || len(x) != len(raw)/4 {
		t.Fatalf("%d samples, %d of sox, %v", len(x), len(raw)/4, err)
	}
	var sound, off float64
	for i := 2400; i < len(x)-2400; i++ {
		y := float64(math.Float32frombits(binary.LittleEndian.Uint32(raw[4*i:])))
		sound, off = sound+y*y, off+(float64(x[i])-y)*(float64(x[i])-y)
	}
	if snr := 10 * math.Log10(sound/off); snr < 60 {
		t.Errorf("%.0f dB from sox", snr)
	}
}

// Headers that lie, or say nothing, neither hang nor cost memory.
func TestOddHeaders(t *testing.T) {
	one := file{format: pcm, channels: 1, bits: 16, hz: 48000, seconds: 0.1, tone: 440}
	with := func(change func(*file)) []byte { w := one; change(&w); return w.bytes() }
	list := append([]byte("LIST\x00\x00\x00\x80INFO"), make([]byte, 100)...)
	short := append([]byte("LIST\x0c\x00\x00\x00INFOISFT"), 4, 0, 0, 0)
	for _, c := range []struct {
		name    string
		in      []byte
		samples int
		want    string // in the error, or in the notes
	}{
		{"data of 0 bytes", with(func(w *file) { w.says = 1 }), 4800, "read to the end of the file"},
		{"data of 0xffffffff bytes", with(func(w *file) { w.says = 1 << 32 }), 4800, "read to the end of the file"},
		{"data of 0x7fffffff bytes", with(func(w *file) { w.says = 1 << 31 }), 4800, "which may be cut off"},
		{"data of sox into a pipe", with(func(w *file) { w.says = 0x7ffff001 }), 4800, "read to the end of the file"},
		{"a chunk of text", with(func(w *file) { w.before = short }), 4800, ""},
		{"LIST of 2 GB", with(func(w *file) { w.before = list }), 0, "without sound"},
		{"cut off in the sound", one.bytes()[:1000], 478, "truncated"},
		{"half a sample at the end", one.bytes()[:1001], 478, "truncated"},
		{"cut off before the sound", one.bytes()[:30], 0, "cut off in its header"},
		{"nothing", nil, 0, "not a WAV file"},
		{"MP3", []byte("ID3\x03 and so on"), 0, "but MP3"},
		{"FLAC", []byte("fLaC and so on ......"), 0, "but FLAC"},
		{"MPEG-4", []byte("\x00\x00\x00\x20ftypM4A and so on"), 0, "but MPEG-4"},
		{"A-law", with(func(w *file) { w.format = 6 }), 0, "format 6"},
		{"8 bits", with(func(w *file) { w.bits = 8 }), 0, "8-bit"},
		{"no channels", with(func(w *file) { w.channels = 0 }), 0, "0 channels"},
		{"4 kHz", with(func(w *file) { w.hz = 4000 }), 0, "at 4000 Hz"},
	} {
		path := filepath.Join(t.TempDir(), "in.wav")
		if err := os.WriteFile(path, c.in, 0o600); err != nil {
			t.Fatal(err)
		}
		r, err := OpenMono(path, audio.Rate)
		var x []float32
		notes := ""
		if err == nil {
			x, err = readAll(r, 480)
			notes = strings.Join(r.Notes, "; ")
			r.Close()
		}
		if len(x) != c.samples {
			t.Errorf("%s: %d samples, want %d", c.name, len(x), c.samples)
		}
		if err != nil {
			notes += err.Error()
			if strings.Contains(notes, "\n") || !errors.Is(err, ErrTruncated) && !strings.Contains(notes, "convert it with") {
				t.Errorf("%s: %v, want one line that says what to do", c.name, err)
			}
		}
		if !strings.Contains(notes, c.want) {
			t.Errorf("%s: %q, want %q", c.name, notes, c.want)
		}
	}
}

// Of a record the room is heard, not what coxswain said itself.
func TestRecordIsHeardByItsRoom(t *testing.T) {
	_, path := record(t, 20)
	r, err := OpenMono(path, audio.Rate)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	x, err := readAll(r, 480)
	if err != nil || len(x) != 20*audio.Block || x[0] < 0.49 || x[1] != 0 {
		t.Errorf("%d samples from %v, %v", len(x), x[:2], err)
	}
}

// Floating point may hold anything: what is no number, or infinite, is silence, and
// counted; the rest is limited to full scale.
func TestFloatsThatAreNone(t *testing.T) {
	l := layout{format: ieeeFloat, bits: 32}
	for in, want := range map[float64]float32{0.25: 0.25, 7: 1, -7: -1, math.Inf(1): 0, math.Inf(-1): 0, math.NaN(): 0} {
		got, ok := l.sample(int(int32(math.Float32bits(float32(in)))))
		if bad := math.IsNaN(in) || math.IsInf(in, 0); got != want || ok == bad {
			t.Errorf("%v is %v, %v; want %v", in, got, ok, want)
		}
	}
	w := file{format: ieeeFloat, channels: 1, bits: 32, hz: 48000, seconds: 0.1, tone: 440}
	b := w.bytes()
	for i := range 100 {
		binary.LittleEndian.PutUint32(b[len(b)-4*(i+1):], math.Float32bits(float32(math.NaN())))
	}
	path := filepath.Join(t.TempDir(), "in.wav")
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := OpenMono(path, audio.Rate)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if _, err := readAll(r, 480); err != nil || !strings.Contains(r.Afterwards(), "100 of its 4800 numbers") {
		t.Errorf("%v, %q", err, r.Afterwards())
	}
}

func FuzzWAV(f *testing.F) {
	for _, w := range []file{
		{format: pcm, channels: 1, bits: 16, hz: 48000},
		{format: ieeeFloat, channels: 2, bits: 32, hz: 8000, extensible: true},
		{format: pcm, channels: 3, bits: 24, hz: 192000, before: []byte("LIST\x00\x00\x00\x80INFO")},
	} {
		w.seconds, w.tone = 0.005, 440
		b := w.bytes()
		f.Add(b)
		f.Add(b[:len(b)-7])
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := newReader("in.wav", bytes.NewReader(b), int64(len(b)))
		if err != nil {
			return
		}
		if r.SampleHz != audio.Rate || r.Channels != 1 {
			if err := r.convert([]int{audio.Rate}); err != nil {
				t.Fatal(err)
			}
		}
		x, err := readAll(r, 480)
		if err != nil && !errors.Is(err, ErrTruncated) {
			t.Fatal(err)
		}
		if int64(len(x)) > r.Samples || len(x) > 6*len(b) {
			t.Errorf("%d samples of %d from %d bytes", len(x), r.Samples, len(b))
		}
		for _, v := range x {
			if !(v >= -2 && v <= 2) { // a filter may overshoot
				t.Fatalf("sample %v", v)
			}
		}
	})
}

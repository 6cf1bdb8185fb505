package record

import (
	"bufio"
	"encoding/binary"
	"io"
	"os"

	"coxswain/audio"
	"coxswain/audio/recorder"
)

const (
	peaksName = "peaks.u8"
	peakEvery = audio.Rate / 10
)

// Peaks returns, for every 100 ms of a record, the largest sample of channel 1
// and of channel 2, a byte each (127: full scale): what a page draws, so that
// it need not load the audio. They are kept in a file, which is a convenience
// and may fail.
func (r *Record) Peaks() ([]byte, error) {
	l, err := recorder.Open(r.Dir)
	if err != nil {
		return nil, err
	}
	want := 2 * int((l.Samples()+peakEvery-1)/peakEvery)
	if b, err := r.keptPeaks(l); err == nil && len(b) == want {
		return b, nil
	}
	out, err := peaks(l)
	if err != nil {
		return nil, err
	}
	if f, err := recorder.OpenFile(r.Dir, peaksName, os.O_CREATE|os.O_TRUNC|os.O_WRONLY); err == nil {
		f.Write(out)
		f.Close()
	}
	return out, nil
}

// keptPeaks are those in the file, if it is newer than the sound.
func (r *Record) keptPeaks(l *recorder.Log) ([]byte, error) {
	f, err := recorder.OpenFile(r.Dir, peaksName, os.O_RDONLY)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	sound, err := recorder.OpenFile(r.Dir, l.Parts[len(l.Parts)-1].Name, os.O_RDONLY)
	if err != nil {
		return nil, err
	}
	defer sound.Close()
	a, err := f.Stat()
	if err != nil {
		return nil, err
	}
	b, err := sound.Stat()
	if err != nil || a.ModTime().Before(b.ModTime()) {
		return nil, os.ErrNotExist
	}
	return io.ReadAll(io.LimitReader(f, 1<<26))
}

func peaks(l *recorder.Log) ([]byte, error) {
	in, out := io.Pipe()
	go func() { out.CloseWithError(l.Copy(out, 0, l.Samples())) }()
	defer in.Close()
	r := bufio.NewReaderSize(in, 1<<20)
	var found []byte
	buf := make([]byte, 4*peakEvery)
	for {
		n, err := io.ReadFull(r, buf)
		if n >= 4 {
			found = append(found, loudest(buf[:n], 0), loudest(buf[:n], 2))
		}
		if err == io.EOF || err == io.ErrUnexpectedEOF && n > 0 {
			return found, nil
		}
		if err != nil {
			return nil, err
		}
	}
}

func loudest(b []byte, channel int) byte {
	top := 0
	for i := channel; i+1 < len(b); i += 4 {
		x := int(int16(binary.LittleEndian.Uint16(b[i:])))
		top = max(top, x, -x)
	}
	return byte(min(top, 32767) >> 8)
}

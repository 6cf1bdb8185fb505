package main

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"coxswain/audio"
	"coxswain/audio/recorder"
)

// A peak file holds, for every 100 ms of a record, the largest sample of
// channel 1 and of channel 2, a byte each (127: full scale): what the page
// draws, so that it need not load the audio.
const (
	peaksName = "peaks.u8"
	peakEvery = audio.Rate / 10
)

// peaks returns the peaks of a record, from the file if it is newer than the
// audio, else from the audio; the file is a convenience and may fail.
func peaks(dir string, parts int) ([]byte, error) {
	path := filepath.Join(dir, peaksName)
	if fresh(path, filepath.Join(dir, recorder.PartName(max(0, parts-1)))) {
		if b, err := os.ReadFile(path); err == nil {
			return b, nil
		}
	}
	var out []byte
	for n := range parts {
		b, err := partPeaks(filepath.Join(dir, recorder.PartName(n)))
		if err != nil {
			return nil, err
		}
		out = append(out, b...)
	}
	os.WriteFile(path, out, 0o600)
	return out, nil
}

func fresh(path, than string) bool {
	a, err := os.Stat(path)
	if err != nil {
		return false
	}
	b, err := os.Stat(than)
	return err == nil && !a.ModTime().Before(b.ModTime())
}

func partPeaks(path string) ([]byte, error) {
	start, length, err := recorder.PartData(path)
	if err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if _, err := f.Seek(start, io.SeekStart); err != nil {
		return nil, err
	}
	r := bufio.NewReaderSize(io.LimitReader(f, length), 1<<20)
	out := make([]byte, 0, length/(2*peakEvery)+2)
	buf := make([]byte, 4*peakEvery)
	for {
		n, err := io.ReadFull(r, buf)
		if n >= 4 {
			out = append(out, loudest(buf[:n], 0), loudest(buf[:n], 2))
		}
		if err == io.EOF || err == io.ErrUnexpectedEOF {
			return out, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
	}
}

func loudest(b []byte, channel int) byte {
	top := 0
	for i := channel; i+1 < len(b); i += 4 {
		x := int(int16(binary.LittleEndian.Uint16(b[i:])))
		top = max(top, x, -x)
	}
	return byte(top >> 8)
}

package paper

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"coxswain/audio/recorder"
	"coxswain/timeline"
	"coxswain/timeline/record"
	"coxswain/timeline/review"
)

// Export writes a record in one of the formats to a file or, without one, to w;
// its sound to a folder.
func Export(w io.Writer, r *review.Record, dir, format, out string) error {
	if format == "wav" {
		return exportWAV(r, dir, out)
	}
	var names []string
	for _, f := range review.Formats {
		if names = append(names, f.Name); f.Name != format {
			continue
		}
		var b bytes.Buffer
		if err := f.Write(r, &b); err != nil {
			return err
		}
		if out == "" {
			_, err := w.Write(b.Bytes())
			return err
		}
		return record.WriteFile(out, b.Bytes())
	}
	return fmt.Errorf("--format %q: choose %s or wav", format, strings.Join(names, ", "))
}

// exportWAV copies the audio log and labels it with the events as amended.
func exportWAV(r *review.Record, dir, out string) error {
	if out == "" {
		return fmt.Errorf("wav needs --out FOLDER")
	}
	gone := timeline.Retracted(r.Events)
	var labels []recorder.Mark
	for _, e := range r.Events {
		if m, ok := record.Mark(e); ok && !gone[e.Seq] {
			labels = append(labels, m)
		}
	}
	return record.CopySound(dir, out, labels)
}

// ToFile writes a file in one piece; without a name it writes none.
func ToFile(path string, write func(io.Writer) error) error {
	if path == "" {
		return nil
	}
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return err
	}
	return record.WriteFile(path, b.Bytes())
}

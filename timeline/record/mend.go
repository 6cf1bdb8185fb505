package record

import (
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

// Mend finishes a record after a crash or power cut: it cuts an unfinished last
// line from the journal (kept beside it), makes the files of the sound whole,
// puts what was not yet hashed into the journal, marked as late, and closes it. It
// refuses a record that is still being written; a whole one is left as it is.
func Mend(dir string) (*Record, error) {
	j, r, err := reopen(dir, nil)
	if err != nil {
		return nil, err
	}
	defer j.Close()
	if err := r.check(); err != nil {
		return nil, err
	}
	length, err := recorder.Mend(dir, r.Wall(), about, Marks(r.Events))
	if err != nil {
		return nil, err
	}
	if length > r.heard() && !Signed(dir) {
		l, err := recorder.Open(dir)
		if err != nil {
			return nil, err
		}
		h := soundHash{From: r.heard(), Until: length, Late: true}
		if h.SHA256, err = hashSound(l, h.From, h.Until); err != nil {
			return nil, err
		}
		if err := j.hashed(h); err != nil {
			return nil, err
		}
	}
	if r.Closed() {
		return Open(dir)
	}
	end := max(timeline.Time(length), timeline.End(r.Events))
	const text = "finished by coxswain mend after the session was cut off"
	if _, err := j.Append(timeline.Event{At: end, Kind: timeline.SessionClose, Text: text}); err != nil {
		return nil, err
	}
	return Open(dir)
}

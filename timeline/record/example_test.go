package record_test

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"coxswain/audio"
	"coxswain/timeline"
	"coxswain/timeline/record"
)

// A record is begun, gets sound and events, is closed, and shows that it is whole.
func Example() {
	folder, err := os.MkdirTemp("", "records")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)
	wall := time.Date(2030, 1, 1, 14, 0, 0, 0, time.UTC)
	w, err := record.Begin(filepath.Join(folder, "2030-01-01T140000"), wall)
	if err != nil {
		fmt.Println(err)
		return
	}
	about := &timeline.Session{Wall: wall.Format(time.RFC3339Nano), Rate: timeline.Rate, Protocol: "aha-2025", Caution: "training"}
	events := []timeline.Event{{Kind: timeline.SessionOpen, Session: about}, {At: timeline.Seconds(0.5), Kind: timeline.CodeStart}}
	second := make([]float32, audio.Rate)
	w.Sound.Write(second, second) // what the room heard, and what was played
	w.Sound.Close()               // first: the journal gets the hash of the last sound
	for i, e := range append(events, timeline.Event{At: timeline.Seconds(1), Kind: timeline.SessionClose}) {
		e.Seq = uint64(i + 1)
		if _, err := w.Journal.Append(e); err != nil {
			fmt.Println(err)
		}
	}
	w.Journal.Close()
	r, err := record.Open(w.Dir)
	if err != nil {
		fmt.Println(err)
		return
	}
	proof, err := r.Verify()
	fmt.Println(r.Name(), len(r.Events), "events,", timeline.Time(proof.Samples), "of sound, error:", err)
	// Output: 2030-01-01T140000 3 events, 0:01.0 of sound, error: <nil>
}

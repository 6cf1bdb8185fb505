package session

import (
	"sync"
	"sync/atomic"

	"coxswain/audio"
	"coxswain/audio/recorder"
)

// logger writes the audio log without making the session wait: at once in a
// replay, through a queue of ten seconds when live.
type logger struct {
	rec     SoundLog
	queue   chan logItem
	done    sync.WaitGroup
	failing atomic.Pointer[string]
	lost    atomic.Int64 // samples for which the queue was full
	full    atomic.Bool  // it was, and has not been empty since
	next    logItem      // what is being gathered
}

type logItem struct {
	room, speaker []float32 // one block or more
	mark          recorder.Mark
	skip          int     // samples lost before these
	lead          *before // alone: the sound before a case
}

// logEvery is how many samples are handed to the writer at once: ten blocks,
// so that it wakes ten times a second, not a hundred.
const logEvery = 10 * audio.Block

// SoundLog keeps sound: a record's audio log, or a test's on a bad disk.
type SoundLog interface {
	Write(room, speaker []float32) error
	Mark(recorder.Mark)
	Close() error
}

func newLogger(rec SoundLog, live bool) *logger {
	l := &logger{rec: rec}
	if live {
		l.queue = make(chan logItem, 100)
		l.done.Go(func() {
			for it := range l.queue {
				l.take(it)
			}
		})
	}
	return l
}

func (l *logger) take(it logItem) {
	if it.lead != nil {
		it.lead.each(func(room, speaker []float32) { l.take(logItem{room: room, speaker: speaker}) })
		return
	}
	if it.room == nil {
		l.rec.Mark(it.mark)
		return
	}
	if len(l.queue) == 0 {
		l.full.Store(false)
	}
	var err error
	if it.skip > 0 {
		err = l.rec.Write(make([]float32, it.skip), make([]float32, it.skip))
	}
	if e := l.rec.Write(it.room, it.speaker); e != nil {
		err = e
	}
	if err != nil {
		s := err.Error()
		l.failing.Store(&s)
	} else {
		l.failing.Store(nil)
	}
}

// Write logs one block.
func (l *logger) Write(room, speaker []float32) {
	if l.queue == nil {
		l.take(logItem{room: room, speaker: speaker})
		return
	}
	l.next.room, l.next.speaker = append(l.next.room, room...), append(l.next.speaker, speaker...)
	if len(l.next.room) >= logEvery {
		l.send()
	}
}

// Skip logs n samples of silence.
func (l *logger) Skip(n int) {
	if l.queue == nil {
		l.take(logItem{room: make([]float32, n), speaker: make([]float32, n)})
		return
	}
	l.send()
	l.lost.Add(int64(n))
}

// Lead logs the sound before a case's start, however long, ahead of all else.
func (l *logger) Lead(held *before) {
	if held.n == 0 {
		return
	}
	it := logItem{lead: held}
	if l.queue == nil {
		l.take(it)
		return
	}
	l.queue <- it // the first: there is room
}

// send hands what is gathered to the writer, or counts it as lost.
func (l *logger) send() {
	it := l.next
	l.next = logItem{}
	if len(it.room) == 0 {
		return
	}
	it.skip = int(l.lost.Swap(0))
	select {
	case l.queue <- it:
	default:
		l.full.Store(true)
		l.lost.Add(int64(it.skip + len(it.room)))
	}
}

// Mark labels a moment.
func (l *logger) Mark(m recorder.Mark) {
	if l.queue == nil {
		l.rec.Mark(m)
		return
	}
	select {
	case l.queue <- logItem{mark: m}:
	default: // the journal holds it too; `coxswain mend` writes the labels
	}
}

// Failing returns why audio cannot be written at present, or "".
func (l *logger) Failing() string {
	if p := l.failing.Load(); p != nil {
		return *p
	}
	if l.full.Load() {
		return "the disk is too slow: sound is lost from the record"
	}
	return ""
}

// Close writes what is queued, and what the queue had no room for, and finishes the file.
func (l *logger) Close() error {
	if l.queue != nil {
		close(l.queue)
		l.done.Wait()
		l.next.skip = int(l.lost.Swap(0))
		if len(l.next.room) > 0 || l.next.skip > 0 {
			l.next.room = append([]float32{}, l.next.room...) // not nil: that is a mark
			l.take(l.next)
		}
	}
	return l.rec.Close()
}

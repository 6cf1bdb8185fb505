package record

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
	"coxswain/timeline"
)

const folderTime = "2006-01-02T150405"

// FindCut returns the record to go on with: the last one in the folders, if it
// was cut off (a crash, a power cut) less than within ago by the wall clock; nil
// if there is none. Records are told apart by what they hold,
// not by their names. One that cannot be read is left alone: a new session must
// never wait for an old one.
func FindCut(now time.Time, within time.Duration, folders ...string) *Record {
	var last *Record
	var least time.Duration
	for _, x := range recent(now, within, folders) {
		if last == nil || x.ago < least {
			last, least = x.Record, x.ago
		}
	}
	if last == nil || last.Closed() || least > within {
		return nil
	}
	return last
}

// LeftOpen lists the folders of all records that were cut off less than within ago: beside
// the one to go on with, that of a case that had just ended when another one's began.
func LeftOpen(now time.Time, within time.Duration, folders ...string) (dirs []string) {
	for _, x := range recent(now, within, folders) {
		if !x.Closed() && x.ago <= within {
			dirs = append(dirs, x.Dir)
		}
	}
	return dirs
}

// Spoilt tells of each record that was written to less than within ago, has no end, and cannot be
// gone on with, because a line of it is wrong: what, where and why.
func Spoilt(now time.Time, within time.Duration, folders ...string) (told []error) {
	for _, dir := range touched(now, within, folders) {
		_, err := Open(dir)
		if err == nil {
			continue
		} else if events, _, _ := Read(dir); len(events) == 0 || events[len(events)-1].Kind != timeline.SessionClose {
			told = append(told, err)
		}
	}
	return told
}

// Headless lists the folders that got sound less than within ago and have no journal: nobody knows
// whether their case had ended.
func Headless(now time.Time, within time.Duration, folders ...string) (dirs []string) {
	for _, folder := range folders {
		entries, _ := os.ReadDir(folder) // what cannot be read holds nothing to go on with
		for _, e := range entries {
			dir := filepath.Join(folder, e.Name())
			if st, err := os.Lstat(filepath.Join(dir, JournalName)); err == nil && st.Mode().IsRegular() {
				continue
			}
			parts, _ := filepath.Glob(filepath.Join(dir, "audio-*.wav"))
			if slices.ContainsFunc(parts, func(p string) bool { return lately(p, now, within) }) {
				dirs = append(dirs, dir)
			}
		}
	}
	return dirs
}

// lately reports whether a file was written to less than within ago: every ten seconds, while a
// session runs.
func lately(path string, now time.Time, within time.Duration) bool {
	st, err := os.Lstat(path)
	return err == nil && !st.ModTime().Before(now.Add(-within-time.Minute))
}

// recently is a record and how long ago its sound ended.
type recently struct {
	*Record
	ago time.Duration
}

// recent are the records that may have ended less than within ago.
func recent(now time.Time, within time.Duration, folders []string) (list []recently) {
	for _, dir := range slices.Concat(touched(now, within, folders), last(now, within, folders)) {
		r, err := Open(dir)
		if err != nil {
			continue
		}
		if ago, ok := r.ended(now); ok {
			list = append(list, recently{r, ago})
		}
	}
	return list
}

// touched are the folders of records that were written to less than within ago.
func touched(now time.Time, within time.Duration, folders []string) (dirs []string) {
	for _, folder := range folders {
		found, _ := Dirs(folder) // what cannot be read holds nothing to go on with
		for _, dir := range found {
			if lately(filepath.Join(dir, JournalName), now, within) {
				dirs = append(dirs, dir)
			}
		}
	}
	return dirs
}

// last are the folders of the few records that were written to last, but for those of touched: the wall clock
// may have been set ahead since, and the machine's own knows how long ago that was.
func last(now time.Time, within time.Duration, folders []string) (dirs []string) {
	const few = 4
	at := map[string]time.Time{}
	for _, folder := range folders {
		found, _ := Dirs(folder)
		for _, dir := range found {
			journal := filepath.Join(dir, JournalName)
			if st, err := os.Lstat(journal); err == nil && !lately(journal, now, within) {
				dirs, at[dir] = append(dirs, dir), st.ModTime()
			}
		}
	}
	slices.SortFunc(dirs, func(a, b string) int { return at[b].Compare(at[a]) })
	return dirs[:min(few, len(dirs))]
}

// setBack is how far a wall clock may have been set back while a session ran;
// an end that lies further in the future is no reason to go on with it.
const setBack = 24 * time.Hour

// ended tells how long ago the record's sound ended, by the wall clock. The end
// of a session that was cut off may lie in the future, if the clock was set
// back; that of a finished one may not.
func (r *Record) ended(now time.Time) (time.Duration, bool) {
	if r.Wall().IsZero() {
		return 0, false
	}
	ago := r.since(now) - audio.Duration(r.reaches())
	return max(ago, -ago), ago >= 0 || !r.Closed() && ago > -setBack
}

// reaches is the clock sample up to which the record is known to go: where its sound ends or, where that
// cannot be read, its journal.
func (r *Record) reaches() int64 {
	if l, err := recorder.Open(r.Dir); err == nil {
		return l.Samples()
	}
	return max(int64(timeline.End(r.Events)), r.heard())
}

// Anew is how a session that was cut off goes on in another record, where this one cannot be written to or
// its sound cannot be read: what had been heard up to sample had goes on at sample pos.
func (r *Record) Anew(now time.Time) (had, pos int64) {
	had = r.reaches()
	pos = max(samples(r.since(now)), had, int64(timeline.End(r.Events)))
	return had, (pos + audio.Block - 1) / audio.Block * audio.Block
}

// since is how long ago the record's sample 0 was: by the machine's own clock, unless it was
// another machine or it was started anew since; then by the wall clock, which somebody may
// have set meanwhile.
func (r *Record) since(now time.Time) time.Duration {
	began, here := r.Events[0].Session.Boot, Uptime()
	if began != nil && here != nil && began.ID == here.ID {
		return time.Duration(here.UptimeMS-began.UptimeMS) * time.Millisecond
	}
	return now.Sub(r.Wall())
}

var recordName = regexp.MustCompile(`^(\d{4}-\d\d-\d\dT\d{6})(-\d+)?(_[a-z0-9-]+)?(_\d+)?(\.tar\.age)?$`)

// clocks is the first moment that says when a case was: a machine's clock that was never
// set begins in 1970, and what is replayed or drilled without a --wall begins with 2000.
var clocks = time.Date(2000, 1, 2, 0, 0, 0, 0, time.UTC)

// Dated reports whether a wall clock's time at which a record began says when that was.
func Dated(wall time.Time) bool { return !wall.Before(clocks) }

// OlderThan lists records that began before a moment, by their journals, whatever their
// folders are called; sealed ones, and those that cannot be read, by the names that a
// session gives them. What began before clocks is undated: nobody knows
// how old it is. Nothing else in the folder is touched.
func OlderThan(records string, before time.Time) (old, undated []string, err error) {
	entries, err := os.ReadDir(records)
	if err != nil {
		return nil, nil, err
	}
	for _, e := range entries {
		if e.Type()&os.ModeSymlink != 0 {
			continue
		}
		path := filepath.Join(records, e.Name())
		switch at, runs := began(path); {
		case at.IsZero() || runs || !at.Before(before):
		case !Dated(at):
			undated = append(undated, path)
		default:
			old = append(old, path)
		}
	}
	return old, undated, nil
}

// began is when the record at path began; the zero time if it is none, or does not say.
// One that has no end and was written to within the last hour may still run: its clock
// was wrong when it began.
func began(path string) (at time.Time, runs bool) {
	if r, err := Open(path); err == nil && !r.Wall().IsZero() {
		st, err := os.Lstat(filepath.Join(path, JournalName))
		return r.Wall(), !r.Closed() && err == nil && time.Since(st.ModTime()) < time.Hour
	}
	m := recordName.FindStringSubmatch(filepath.Base(path))
	if m == nil {
		return time.Time{}, false
	}
	at, err := time.ParseInLocation(folderTime, m[1], time.Local)
	if err != nil {
		return time.Time{}, false
	}
	return at, false
}

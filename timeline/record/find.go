package record

import (
	"os"
	"path/filepath"
	"regexp"
	"time"

	"coxswain/audio"
	"coxswain/audio/recorder"
)

const folderTime = "2006-01-02T150405"

// FindCut returns the record to go on with: the last one in the folders, if it
// was cut off (a crash, a power cut) less than within ago by the wall clock; nil
// if there is none. Records are told apart by what they hold,
// not by their names. One that cannot be read is left alone: a new session must
// never wait for an old one.
func FindCut(now time.Time, within time.Duration, folders ...string) *Record {
	var dirs []string
	for _, folder := range folders {
		found, _ := Dirs(folder) // what cannot be read holds nothing to go on with
		dirs = append(dirs, found...)
	}
	var last *Record
	var least time.Duration
	for _, dir := range dirs {
		st, err := os.Lstat(filepath.Join(dir, JournalName))
		if err != nil || st.ModTime().Before(now.Add(-within-time.Minute)) {
			continue // written to every ten seconds, while a session runs
		}
		r, err := Open(dir)
		if err != nil {
			continue
		}
		if ago, ok := r.ended(now); ok && (last == nil || ago < least) {
			last, least = r, ago
		}
	}
	if last == nil || last.Closed() || least > within {
		return nil
	}
	return last
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
	l, err := recorder.Open(r.Dir)
	if err != nil {
		return 0, false
	}
	ago := now.Sub(r.Wall().Add(audio.Duration(l.Samples())))
	return max(ago, -ago), ago >= 0 || !r.Closed() && ago > -setBack
}

var recordName = regexp.MustCompile(`^(\d{4}-\d\d-\d\dT\d{6})(-\d+)?(_[a-z0-9-]+)?(_\d+)?(\.tar\.age)?$`)

// OlderThan lists records that began before a moment, sealed ones too, by their
// names, which a session gives them. Nothing else in the folder is touched.
func OlderThan(records string, before time.Time) ([]string, error) {
	entries, err := os.ReadDir(records)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, e := range entries {
		m := recordName.FindStringSubmatch(e.Name())
		if m == nil || e.Type()&os.ModeSymlink != 0 {
			continue
		}
		at, err := time.ParseInLocation(folderTime, m[1], time.Local)
		if err == nil && at.Before(before) {
			out = append(out, filepath.Join(records, e.Name()))
		}
	}
	return out, nil
}

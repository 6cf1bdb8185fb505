// Package record is a record on the disk: the folder of one session, with its
// journal and its audio log. The names of the files, and how they hang
// together, are known here and nowhere else.
//
//	2026-03-01T140000/
//	    events.jsonl         the journal
//	    events.jsonl.broken  an unfinished last line that was cut off it
//	    audio-00.wav, ...    the audio log, an hour each (package recorder)
//	    signature.json       what Sign made
//	    peaks.u8             what a page draws; made when first asked for
//	2026-03-01T140000.tar.age    the same, encrypted by Seal
//
// The journal is one JSON object a line, in UTF-8. The first has "format": 2.
// Each ends with "sum": the SHA-256, in hex, of the sum of the line before it
// (nothing, for the first), followed by the line as it is without its sum. So
// a line that was edited, lost, added or moved shows, the last one too. A line
// is either an event (timeline.Event) or, every ten seconds,
//
//	{"sound":{"from":0,"until":480000,"sha256":"..."},"sum":"..."}
//
// the SHA-256 of the audio log's samples from one clock sample up to another,
// as they stand in the files: 4 bytes each, the room's 16 bits first. Headers
// and labels are not in it. "late": true says that it was hashed after a cut,
// from the files, not while it was recorded. These lines follow each other
// without a hole, so that silenced, swapped, cut and added sound shows. The sum
// of the last line is the record's fingerprint: whoever noted it can tell later
// that the record is still the same.
//
// A journal without "format" is of the first: each line has "prev", the SHA-256
// of the bytes of the line before it, and there is nothing about the sound.
//
// What a session wrote ends with its close. Behind it only amendments stand:
// a reviewer's changes, with initials and a reason.
//
// One process at a time writes a record: it holds a lock on the journal.
package record

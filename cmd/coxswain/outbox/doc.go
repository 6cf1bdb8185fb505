// Package outbox takes finished records to the hospital's store, by themselves,
// and fetches them from there.
//
// The outbox of a room is a state of its folder of records, not a queue of its
// own: a finished record without the file .sent in its folder has yet to go. So it
// survives whatever the records survive, and it cannot fill a disk. .sent names
// what was sent; a record that was amended or signed since goes again.
//
// The store is NATS JetStream. A record goes whole, as a tar archive encrypted
// with age to the site's key, into the object store Bucket, under its id. Then a
// letter, encrypted to the same key, goes into the stream Stream, on the subject
// coxswain.record.ROOM.ID: which object it is, the record's name, fingerprint and
// signature, and the record's export as JSON, with its events and figures. In the clear
// there is only which room sent something, when, and how much. Who fetches with keys of
// the rooms holds the signature to them before it fetches anything.
//
// The id is made of the record: SHA-256 over the fingerprint of its journal, which
// speaks for every event and every sample, and its signature. So a record that is
// sent twice has the same id both times, and the store takes it once: what is not
// acknowledged is sent again until it is (at least once), and what is there already
// is not stored again.
//
// All of it runs in a process of its own, of least priority, that the session
// starts and never waits for. It tells how it stands in the file .outbox.json in
// the folder of records.
package outbox

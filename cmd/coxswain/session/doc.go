// Package session is the one loop: a block of the room in, a block for the
// speaker out, a hundred times a second. A replay steps it as fast as it goes,
// Live steps it from a sound device.
//
// # Ordering
//
// Let b1, b2, ... be the blocks in the order of Step, and for a block b let
// E(b) be the events that its Step appends, in their order, C(b) the cues that
// follow from them, and S(b) what Step returns.
//
//  1. Events are totally ordered: those of E(bi) before those of E(bj) for
//     i < j, and their numbers are 1, 2, 3, ... without a gap. The journal and
//     the machine get them in this order, each exactly once, and each has its
//     own copy of the list.
//  2. For an event e and a cue c that follows from it, e is acknowledged by the
//     journal before c is offered to the scheduler, or a second has passed since
//     e was appended.
//  3. Events that follow from e (a retraction, a question) are appended before
//     any cue that follows from e is offered.
//  4. A CueSpoken event with time t is appended in the Step that renders sample
//     t, before that Step returns. If the prompt is cut off, a second one that
//     replaces it is appended in the Step that fades it out.
//  5. S(b) and E(b) are functions of b1 ... b and of what the ear returned for
//     them. They do not depend on the wall clock. Live, the moment of an
//     acknowledgement (2) depends on the disk; in a replay it does not.
//
// Less formally: what the team is told has been written down first, unless the
// disk takes more than a second, for the team must not wait for a disk. Nothing
// is ever told twice, out of order, or in a different order in the record than
// in the room. The same recording gives the same record, byte for byte.
//
// # Cases
//
// A Session outlives the cases in it (oneCase). A case has its own machine, list
// of events, scheduler, journal and audio log; the session has the device's
// clock, the ear, the echo canceller and the player, and the last minute of sound
// in memory. When a case is closed nothing of it is kept: its cues are dropped
// with its scheduler, and the sound before its end is forgotten. Between cases a
// oneCase without a record answers, and what it said or what failed goes into the
// next record only if it lies in the minute before.
//
// # Who waits for whom
//
// The loop waits for nobody. Disk writers (ledger, logger) have goroutines of
// their own: a slow disk grows their queues, in memory, and is told about. The
// recogniser is a process of its own: a slow one hears later or is started
// anew. Whoever looks from outside gets a Snapshot from a Box and holds nothing
// up. The device's callback neither waits nor allocates: it copies blocks into
// rings (audio.Exchange), and what the loop does not take in time is counted as
// lost and made up for with silence, so that the session's clock, which counts
// samples, stays with the wall's (see keeper).
package session

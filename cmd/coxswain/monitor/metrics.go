package monitor

import (
	"fmt"
	"io"
	"net/http"

	"coxswain/cmd/coxswain/outbox"
	"coxswain/cmd/coxswain/session"
)

// gauges are the snapshot in numbers. None carries words.
var gauges = []struct {
	name, help string
	value      func(n *session.Snapshot) float64
}{
	{"healthy", "1 while callouts are heard, sound is whole and the record is saved.",
		func(n *session.Snapshot) float64 { return flag(n.Healthy) }},
	{"recogniser_up", "1 while the recogniser hears.",
		func(n *session.Snapshot) float64 { return flag(n.Recogniser == "hears") }},
	{"sound_whole", "1 while there are microphone and loudspeaker, and nearly all of their sound comes.",
		func(n *session.Snapshot) float64 { return flag(n.Sound == "whole") }},
	{"beat_even", "0 while so many ticks of the metronome are off or lacking that nobody should follow it.",
		func(n *session.Snapshot) float64 { return flag(!n.Beats.Uneven) }},
	{"sound_lost_ratio", "Share of the last half minute's sound that never came, 0 to 1.",
		func(n *session.Snapshot) float64 { return n.Lost }},
	{"record_saving", "1 while the record can be written.",
		func(n *session.Snapshot) float64 { return flag(n.Saving) }},
	{"code_running", "1 from the start of a code to its end.",
		func(n *session.Snapshot) float64 { return flag(n.Code != nil) }},
	{"session_seconds", "Length of the case, or between cases of the time without one.",
		func(n *session.Snapshot) float64 { return n.Session }},
	{"microphone_dbfs", "Level of the room over the last half second, dB below full scale.",
		func(n *session.Snapshot) float64 { return n.Microphone }},
	{"echo_return_loss_enhancement_db", "How much quieter our own sound became.",
		func(n *session.Snapshot) float64 { return n.Echo }},
	{"callouts", "Callouts taken in this case.",
		func(n *session.Snapshot) float64 { return float64(n.Callouts) }},
	{"faults", "Faults logged in this case.",
		func(n *session.Snapshot) float64 { return float64(n.Faults) }},
}

// outboxGauges tell how far the records have gone, where they go somewhere.
var outboxGauges = []struct {
	name, help string
	value      func(o *outbox.State) float64
}{
	{"outbox_records", "Finished records that are not in the store yet.",
		func(o *outbox.State) float64 { return float64(o.Waiting) }},
	{"outbox_oldest_seconds", "How long the oldest of them has waited.",
		func(o *outbox.State) float64 { return o.OldestS }},
	{"outbox_refused", "Finished records that are not whole, and are not sent: see the log.",
		func(o *outbox.State) float64 { return float64(o.Refused) }},
	{"outbox_unfinished", "Records that were cut off: finish them with coxswain mend.",
		func(o *outbox.State) float64 { return float64(o.Unfinished) }},
	{"outbox_failing", "1 while records cannot be sent.",
		func(o *outbox.State) float64 { return flag(o.Failing != "") }},
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// metrics are the gauges in the text form of Prometheus, version 0.0.4. Its own
// client is not used: for a list of gauges it adds 0.8 MB to the binary. A test
// reads them with its reference parser.
func metrics(s Watched) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
		gauge := func(name, help string, value float64) {
			fmt.Fprintf(w, "# HELP coxswain_%[1]s %[2]s\n# TYPE coxswain_%[1]s gauge\ncoxswain_%[1]s %[3]g\n", name, help, value)
		}
		latest := s.Latest.Load()
		for _, g := range gauges {
			gauge(g.name, g.help, g.value(latest))
		}
		beats(w, latest.Beats)
		gauge("loop_turns", "Turns of the session's loop.", float64(s.Turns()))
		if s.Dropped != nil {
			gauge("log_lines_dropped", "Lines of the log that nobody read and that were not told of yet.", float64(s.Dropped()))
		}
		if s.Outbox == nil {
			return
		}
		o := s.Outbox()
		for _, g := range outboxGauges {
			gauge(g.name, g.help, g.value(o))
		}
	})
}

// beats are how far off each tick of the metronome sounded, and those that did not.
func beats(w io.Writer, b session.Beats) {
	const name = "coxswain_beat_off_seconds"
	fmt.Fprintf(w, "# HELP %s How far a tick of the metronome sounded from where the ones before it led to.\n"+
		"# TYPE %[1]s histogram\n", name)
	n := uint64(0)
	for k, past := range b.Past {
		bound := "+Inf"
		if n += past; k < len(b.Past)-1 {
			bound = fmt.Sprint(session.OffBounds()[k])
		}
		fmt.Fprintf(w, "%s_bucket{le=%q} %d\n", name, bound, n)
	}
	fmt.Fprintf(w, "%s_sum %g\n%[1]s_count %[3]d\n", name, b.Sum, n)
	const lost = "coxswain_beats_lost_total"
	fmt.Fprintf(w, "# HELP %s Ticks of the metronome that did not sound.\n# TYPE %[1]s counter\n%[1]s %[2]d\n",
		lost, b.Gone)
}

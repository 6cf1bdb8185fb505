package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"coxswain/timeline"
)

// snapshot is what the session looks like from outside: for the status
// command, the wall display and the metrics. Times are seconds; null is "never".
type snapshot struct {
	Caution    string      `json:"caution"`
	Record     string      `json:"record"`
	Session    float64     `json:"session_s"`
	Code       *float64    `json:"code_s"`       // since the code started
	CycleLeft  *float64    `json:"cycle_left_s"` // negative: over
	Paused     *float64    `json:"paused_s"`     // hands off since
	State      string      `json:"state"`
	Rhythm     string      `json:"rhythm"`
	Shocks     int         `json:"shocks"`
	Due        []dueItem   `json:"due"`
	Last       []lastEvent `json:"last"` // newest first
	Microphone float64     `json:"microphone_dbfs"`
	Recogniser string      `json:"recogniser"` // "hears", or why not
	Sound      string      `json:"sound"`      // "whole", "lost", or what it lacks
	Saving     bool        `json:"saving"`
	Faults     int         `json:"faults"`
	Callouts   int         `json:"callouts"`
	Echo       float64     `json:"echo_return_loss_enhancement_db"`
	Healthy    bool        `json:"healthy"`
}

type dueItem struct {
	Text string  `json:"text"`
	In   float64 `json:"in_s"` // negative: overdue
}

type lastEvent struct {
	Ago  float64 `json:"ago_s"`
	Text string  `json:"text"`
	Sure float64 `json:"sure"`
}

// snapshotEvery is how often the session shows itself, in samples.
const snapshotEvery = timeline.Rate / 4

// show publishes a snapshot of the session for whoever looks.
func (s *session) show() {
	now := timeline.Time(s.pos)
	st := s.machine.State()
	p := s.protocol.For(st)
	n := &snapshot{Caution: Caution, Record: filepath.Base(s.dir), Session: now.Seconds(), Rhythm: string(st.Rhythm), Shocks: len(st.Shocks), State: stateText(st),
		Microphone: s.listener.dBFS(), Recogniser: "hears", Sound: s.sound, Saving: s.saving, Faults: s.faults, Callouts: s.callouts, Echo: s.listener.enhancement(), Due: []dueItem{}, Last: []lastEvent{}}
	since := func(t timeline.Time) *float64 {
		if t == timeline.Never {
			return nil
		}
		x := (now - t).Seconds()
		return &x
	}
	if s.deaf != "" {
		n.Recogniser = s.deaf
	}
	n.Healthy = s.deaf == "" && s.saving && s.sound == "whole"
	if st.Ended == timeline.Never {
		n.Code = since(st.Started)
		n.Paused = since(st.PausedFrom)
		if left := since(st.CycleFrom); left != nil && st.CycleFrom != timeline.Never {
			x := p.Get("cycle_s") - *left
			n.CycleLeft = &x
		}
		n.Due = s.dueNow(p, st, now)
	}
	n.Last = s.lastFive(now)
	s.seen.Store(n)
}

// dueNow lists what the protocol will say within two minutes, drugs and checks
// only, soonest first.
func (s *session) dueNow(p *timeline.Protocol, st timeline.State, now timeline.Time) []dueItem {
	out := []dueItem{}
	for _, c := range p.Agenda(st) {
		if c.Priority != timeline.Due && c.ID != "cycle.end" || c.At < now-timeline.Seconds(30) || c.At > now+timeline.Seconds(120) {
			continue
		}
		if out = append(out, dueItem{s.voice.Sentence(c), (c.At - now).Seconds()}); len(out) == 3 {
			break
		}
	}
	return out
}

func (s *session) lastFive(now timeline.Time) []lastEvent {
	out := []lastEvent{}
	for i := len(s.events) - 1; i >= max(0, len(s.events)-200) && len(out) < 5; i-- {
		e := s.events[i]
		if e.Heard == nil {
			continue
		}
		out = append(out, lastEvent{(now - e.At).Seconds(), e.Words(), e.Heard.Confidence})
	}
	return out
}

func stateText(st timeline.State) string {
	switch {
	case st.Started == timeline.Never:
		return "waiting for the code to start"
	case st.Ended != timeline.Never:
		return "code ended"
	case st.PulsePresent:
		return "pulse present"
	case st.Compressing:
		return "compressing"
	}
	return "hands off"
}

func newStatus(c *conf) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use: "status", Short: "Say how the running session stands",
		Long:    "Ask the coxswain that runs on --records, over its local socket. Exit code 1 if none runs or it is not well.",
		Example: "  coxswain status --records /var/lib/coxswain\n  coxswain status --json",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			n, err := askStatus(cmd.Context(), c.v.GetString("records"))
			if err != nil {
				return err
			}
			if asJSON {
				err = json.NewEncoder(cmd.OutOrStdout()).Encode(n)
			} else {
				err = n.print(cmd.OutOrStdout())
			}
			if err == nil && !n.Healthy {
				return errQuiet
			}
			return err
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return cmd
}

func askStatus(ctx context.Context, records string) (*snapshot, error) {
	client := http.Client{Timeout: 2 * time.Second, Transport: &http.Transport{DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
		return (&net.Dialer{}).DialContext(ctx, "unix", socketPath(records))
	}}}
	req, err := http.NewRequestWithContext(ctx, "GET", "http://coxswain/status", nil)
	if err != nil {
		return nil, err
	}
	r, err := client.Do(req)
	if err != nil {
		return nil, fmt.Errorf("no coxswain answers on %s: start one with `coxswain run --records %s`", socketPath(records), records)
	}
	defer r.Body.Close()
	var n snapshot
	if err := json.NewDecoder(io.LimitReader(r.Body, 1<<20)).Decode(&n); err != nil {
		return nil, fmt.Errorf("%s: not an answer of coxswain: %w", socketPath(records), err)
	}
	return &n, nil
}

func (n *snapshot) print(w io.Writer) error {
	clock := func(s *float64) string {
		if s == nil {
			return "-"
		}
		return timeline.Seconds(*s).String()
	}
	fmt.Fprintf(w, "%s; session %s, code %s, cycle left %s\n", n.State, timeline.Seconds(n.Session), clock(n.Code), clock(n.CycleLeft))
	for _, d := range n.Due {
		fmt.Fprintf(w, "due in %.0f s: %s\n", d.In, d.Text)
	}
	for _, l := range n.Last {
		fmt.Fprintf(w, "%.0f s ago: %s (%.0f %%)\n", l.Ago, l.Text, 100*l.Sure)
	}
	_, err := fmt.Fprintf(w, "recogniser: %s; sound: %s; microphone %.0f dBFS; record %s, saved: %v; faults: %d\n%s\n", n.Recogniser, n.Sound, n.Microphone, n.Record, n.Saving, n.Faults, n.Caution)
	return err
}

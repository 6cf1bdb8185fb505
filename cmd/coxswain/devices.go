package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"coxswain/audio"
	"coxswain/audio/device"
	"coxswain/cmd/coxswain/config"
)

func newDevices(c *config.Config) *cobra.Command {
	var asJSON, loop bool
	cmd := &cobra.Command{
		Use: "devices", Short: "List the sound devices",
		Example: "  coxswain devices\n  coxswain devices --json\n  coxswain devices --loop        # plays a second of noise bursts and measures their way back",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if loop {
				m, err := measureLoop(c)
				if err == nil && !m.heard() {
					err = fmt.Errorf("the microphone does not hear the loudspeaker: check volume, mute and which devices are chosen")
				}
				if err == nil {
					fmt.Fprintln(cmd.OutOrStdout(), m)
				}
				return err
			}
			list, err := device.List()
			if err != nil {
				return err
			}
			if asJSON {
				if list == nil {
					list = []device.Info{}
				}
				return json.NewEncoder(cmd.OutOrStdout()).Encode(list)
			}
			if len(list) == 0 {
				return fmt.Errorf("no sound devices: plug one in, or start the sound server")
			}
			tw := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 4, 2, ' ', 0)
			fmt.Fprintln(tw, "name\thost\tin\tout\tHz\tdefault")
			for _, d := range list {
				fmt.Fprintf(tw, "%s\t%s\t%d\t%d\t%.0f\t%s\n", d.Name, d.Host, d.Inputs, d.Outputs, d.RateHz, d.Default)
			}
			return tw.Flush()
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	cmd.Flags().BoolVar(&loop, "loop", false, "measure the delay from loudspeaker to microphone")
	return cmd
}

// loopMeasure is what came back of noise that was played.
type loopMeasure struct {
	delay int     // samples from loudspeaker to microphone
	clear float64 // how far the delay stands out; below 8 nothing was heard
	level float64 // dB against what was played
	floor float64 // dBFS of the room before
}

func (m loopMeasure) heard() bool { return m.clear >= 8 }

func (m loopMeasure) String() string {
	return fmt.Sprintf("loop delay %.1f ms (%d samples), level %+.1f dB", float64(m.delay)*1000/audio.Rate, m.delay, m.level)
}

// measureLoop plays bursts of noise and finds how much later and how much
// weaker the microphone hears them.
func measureLoop(c *config.Config) (loopMeasure, error) {
	var m loopMeasure
	e := audio.NewExchange(10)
	d, err := device.Open(device.Options{Input: c.Input, Output: c.Output}, e)
	if err != nil {
		return m, err
	}
	defer d.Close()
	if d.Missing() != "" {
		return m, fmt.Errorf("no %s: plug one in and see `coxswain devices`", d.Missing())
	}
	r := rand.New(rand.NewPCG(1, 1))
	var room, speaker []float32
	var f audio.Frame
	for begun := time.Now(); len(room) < 3*audio.Rate; {
		if !e.Next(&f) {
			if time.Since(begun) > 10*time.Second {
				return m, fmt.Errorf("the sound device stands still: unplug it and plug it in again, or restart the sound server")
			}
			time.Sleep(time.Millisecond)
			continue
		}
		var out [audio.Block]float32
		if n := len(room) / audio.Block; n > 100 && n%12 == 0 { // the first second lets the stream settle
			for i := range out {
				out[i] = float32(r.NormFloat64() * 0.2)
			}
		}
		e.Send(out[:])
		room, speaker = append(room, f.Room[:]...), append(speaker, f.Speaker[:]...)
	}
	m.floor = 20 * math.Log10(rms(room[audio.Rate/2:audio.Rate]))
	m.delay, m.clear = audio.LoopDelay(speaker[audio.Rate:], room[audio.Rate:], audio.Rate/2)
	m.level = 20 * math.Log10(rms(room[audio.Rate:])/rms(speaker[audio.Rate:]))
	return m, nil
}

func rms(x []float32) float64 {
	sum := 1e-12
	for _, v := range x {
		sum += float64(v) * float64(v)
	}
	return math.Sqrt(sum / float64(max(1, len(x))))
}

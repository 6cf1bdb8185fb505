package ready

import (
	"encoding/json"
	"fmt"
	"io"
	"text/tabwriter"

	"coxswain/audio/device"
)

// ListDevices prints the sound devices of this machine.
func ListDevices(w io.Writer, asJSON bool) error {
	list, err := device.Answer(device.List)
	if err != nil {
		return err
	}
	if asJSON {
		if list == nil {
			list = []device.Info{}
		}
		return json.NewEncoder(w).Encode(list)
	}
	if len(list) == 0 {
		return fmt.Errorf("no sound devices: plug one in, or start the sound server")
	}
	tw := tabwriter.NewWriter(w, 0, 4, 2, ' ', 0)
	fmt.Fprintln(tw, "name\thost\tin\tout\tHz\tdefault")
	for _, d := range list {
		fmt.Fprintf(tw, "%s\t%s\t%d\t%d\t%.0f\t%s\n", d.Name, d.Host, d.Inputs, d.Outputs, d.RateHz, d.Default)
	}
	return tw.Flush()
}

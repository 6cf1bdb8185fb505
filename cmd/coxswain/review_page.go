package main

import (
	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/rig"
	"coxswain/cmd/coxswain/web"
	"coxswain/timeline"
	"coxswain/timeline/figures"
	"coxswain/timeline/review"
)

func newReview(c *config.Config) *cobra.Command {
	p := &web.Private{}
	cmd := &cobra.Command{
		Use: "review DIR [DIR2]", Short: "Open a record in the browser: listen, read the figures, amend",
		Long: `Serve a page over a record on this machine only: the waveform of both channels
with events and cycles, every event a click away from its sound, the figures with
their benchmarks and sources, amendments. With a second record the two are
compared. The address that is printed carries a word without which nobody, other
users of this machine included, sees or hears anything.

` + Caution,
		Example: `  coxswain review records/2026-03-01T140000
  coxswain review A B --listen 127.0.0.1:8000`,
		Args: cobra.RangeArgs(1, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			defs, err := c.Figures.Definitions()
			if err != nil {
				return err
			}
			amend, err := rig.Amends(c)
			if err != nil {
				return err
			}
			h, err := web.Review(reviewed(defs, amend), args...)
			if err != nil {
				return err
			}
			p.Out, p.Caution = cmd.OutOrStdout(), Caution
			return p.Serve(cmd.Context(), h)
		},
	}
	servedFlags(cmd, p)
	return cmd
}

// servedFlags are the flags of a command that serves a page.
func servedFlags(cmd *cobra.Command, p *web.Private) {
	cmd.Flags().StringVar(&p.Listen, "listen", web.UsualAddress, "address of the page, on this machine")
	cmd.Flags().BoolVar(&p.Open, "open", web.HasDesktop(), "open the page in the desktop's browser")
}

// reviewed is how the page gets at records.
func reviewed(defs []figures.Definition, amend func(string, timeline.Change) error) web.Records {
	return web.OnDisk(func(dir string) (*review.Record, error) { return load(dir, defs) }, amend)
}

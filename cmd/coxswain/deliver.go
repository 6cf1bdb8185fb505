package main

import (
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"coxswain/cmd/coxswain/config"
	"coxswain/cmd/coxswain/outbox"
)

func newDeliver(c *config.Config) *cobra.Command {
	var once, untilEOF bool
	cmd := &cobra.Command{
		Use: "deliver", Short: "Send finished records to the hospital's store, by themselves",
		Long: `Send every finished record under --records to --store, a NATS server or cluster
with JetStream, encrypted to the site's key: what coxswain run starts by itself, in
a process of least priority, where store is set. A record that was amended or signed
since goes again; drills stay. What cannot be sent waits in its folder, and is tried
again later and later, every five minutes at most. coxswain status says how many wait.
The store is made once, with coxswain collect --create.`,
		Example: "  coxswain deliver --once --store tls://store.example:4222 --store-creds room.creds \\\n" +
			"      --store-key site.pub --room ward-3-bay-2",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			ctx, stop := signal.NotifyContext(cmd.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			o, err := rigOf(c, cmd).Outbox()
			if err != nil {
				return err
			}
			if once {
				return o.Pass(ctx, true)
			}
			if outbox.Yield(); untilEOF {
				ctx = outbox.UntilEOF(ctx, cmd.InOrStdin())
			}
			return o.Run(ctx)
		},
	}
	cmd.Flags().BoolVar(&once, "once", false, "send what waits now, and end")
	cmd.Flags().BoolVar(&untilEOF, "until-eof", false, "end with the standard input")
	cmd.Flags().MarkHidden("until-eof")
	return cmd
}

package main

import (
	_ "embed"
	"io"

	"github.com/spf13/cobra"
)

//go:embed coxswain.service
var unitFile string

func newService() *cobra.Command {
	return &cobra.Command{
		Use: "service", Short: "Print a systemd unit that runs coxswain with a watchdog",
		Example: "  coxswain service > /etc/systemd/system/coxswain.service\n" +
			"  useradd --system --groups audio coxswain\n  systemctl enable --now coxswain\n" +
			"  journalctl -u coxswain           # logs; the system rotates them",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := io.WriteString(cmd.OutOrStdout(), unitFile)
			return err
		},
	}
}

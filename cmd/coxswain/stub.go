package main

import "github.com/spf13/cobra"

func newRun(c *conf) *cobra.Command      { return &cobra.Command{Use: "run"} }
func newReplay(c *conf) *cobra.Command   { return &cobra.Command{Use: "replay"} }
func newCallouts(c *conf) *cobra.Command { return &cobra.Command{Use: "callouts"} }
func newDevices() *cobra.Command         { return &cobra.Command{Use: "devices"} }
func newVerify() *cobra.Command          { return &cobra.Command{Use: "verify"} }
func newTimeline() *cobra.Command        { return &cobra.Command{Use: "timeline"} }
func newMend() *cobra.Command            { return &cobra.Command{Use: "mend"} }

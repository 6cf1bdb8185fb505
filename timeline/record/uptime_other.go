//go:build !linux

package record

import "coxswain/timeline"

// Uptime is not known here.
func Uptime() *timeline.Boot { return nil }

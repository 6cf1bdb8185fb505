//go:build !linux

package main

import "time"

func asleep() time.Duration { return 0 }

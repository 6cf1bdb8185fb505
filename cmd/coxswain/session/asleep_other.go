//go:build !linux

package session

import "time"

func asleep() time.Duration { return 0 }

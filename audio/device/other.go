//go:build !linux

package device

// Room reports that this process may use too little of the machine for sound.
func Room() error { return nil }

func prepare() error { return nil }

func realTime() {}

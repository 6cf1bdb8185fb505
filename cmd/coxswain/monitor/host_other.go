//go:build !linux

package monitor

func FreeBytes(string) (int64, error) { return 1 << 62, nil }

func CheckClock() (string, error) { return "not checked on this system", nil }

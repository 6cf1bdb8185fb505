//go:build !linux

package device

func prepare() error { return nil }

func realTime() {}

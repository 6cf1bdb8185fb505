//go:build !linux

package device

func realTime() {}

//go:build !linux

package audio

func realTime() {}

//go:build !linux

package session

func raise() (lower func()) { return func() {} }

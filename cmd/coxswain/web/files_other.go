//go:build !unix

package web

func descriptors() uint64 { return 1024 }

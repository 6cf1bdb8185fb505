//go:build !unix

package record

import "os"

func lock(*os.File, string) error { return nil }

// LockFolder does nothing where there is no flock.
func LockFolder(string) (func(), error) { return func() {}, nil }

// Lock does nothing where there is no flock.
func Lock(_, _ string) (func(), error) { return func() {}, nil }

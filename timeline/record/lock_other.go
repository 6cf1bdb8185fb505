//go:build !unix

package record

import "os"

func lock(*os.File, string) error { return nil }

// LockFolder does nothing where there is no flock.
func LockFolder(string) (func(), error) { return func() {}, nil }

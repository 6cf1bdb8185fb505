//go:build !unix

package rig

import "io/fs"

// owned: folders for temporary files are each user's own there.
func owned(fs.FileInfo) bool { return true }

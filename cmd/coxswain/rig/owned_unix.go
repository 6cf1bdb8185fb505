//go:build unix

package rig

import (
	"io/fs"
	"os"
	"syscall"
)

// owned reports whether a file is this user's.
func owned(st fs.FileInfo) bool {
	s, ok := st.Sys().(*syscall.Stat_t)
	return ok && int(s.Uid) == os.Getuid()
}

//go:build unix

package web

import "syscall"

// descriptors is how many files this process may have open.
func descriptors() uint64 {
	var l syscall.Rlimit
	if syscall.Getrlimit(syscall.RLIMIT_NOFILE, &l) != nil {
		return 1024
	}
	return uint64(l.Cur)
}

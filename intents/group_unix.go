//go:build unix

package intents

import (
	"os/exec"
	"syscall"
)

// ownGroup keeps the signals of a terminal from a plug-in: a Ctrl-C ends the session, which lets it finish.
func ownGroup(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} }

// killGroup kills a plug-in with what it has started.
func killGroup(cmd *exec.Cmd) { syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }

package again

import (
	"os/exec"
	"syscall"
)

// bind has the child killed with its parent: whoever kills what he started by hand
// gets rid of it, and the next one goes on with the record.
func bind(cmd *exec.Cmd) { cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL} }

package private

import "syscall"

// dieWithParent makes the kernel send sig to the child when the thread that started it ends.
func dieWithParent(attr *syscall.SysProcAttr, sig syscall.Signal) {
	attr.Pdeathsig = sig
}

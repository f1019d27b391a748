//go:build darwin || freebsd || netbsd || openbsd || dragonfly

package private

import "syscall"

// dieWithParent does nothing: outside Linux the server of a killed owner runs on, and the next start says so.
func dieWithParent(*syscall.SysProcAttr, syscall.Signal) {}

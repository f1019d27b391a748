//go:build unix

package dbtest

import "syscall"

// ownGroup starts a child in a process group of its own.
func ownGroup() *syscall.SysProcAttr { return &syscall.SysProcAttr{Setpgid: true} }

//go:build !unix

package dbtest

import "syscall"

func ownGroup() *syscall.SysProcAttr { return nil }

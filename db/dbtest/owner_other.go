//go:build !unix

package dbtest

import "syscall"

// asOwnerOf starts a child as the user of this process.
func asOwnerOf(string) (*syscall.SysProcAttr, error) { return ownGroup(), nil }

func giveTo(*syscall.SysProcAttr, string) error { return nil }

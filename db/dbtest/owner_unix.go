//go:build unix

package dbtest

import (
	"os"
	"syscall"
)

// asOwnerOf starts a child as the user to whom the folder belongs, in a process group of its own.
func asOwnerOf(folder string) (*syscall.SysProcAttr, error) {
	info, err := os.Stat(folder)
	if err != nil {
		return nil, err
	}
	as := ownGroup()
	if owner := info.Sys().(*syscall.Stat_t); os.Geteuid() == 0 {
		as.Credential = &syscall.Credential{Uid: owner.Uid, Gid: owner.Gid}
	}
	return as, nil
}

// giveTo gives a folder to the user whom a child will be started as.
func giveTo(as *syscall.SysProcAttr, folder string) error {
	if as.Credential == nil {
		return nil
	}
	return os.Chown(folder, int(as.Credential.Uid), int(as.Credential.Gid))
}

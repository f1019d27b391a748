//go:build linux || darwin || freebsd || netbsd || openbsd || dragonfly

package private

import (
	"errors"
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// account is the system user the server runs as.
type account struct {
	name     string
	uid, gid int
	switched bool // it is not the user of this process, which is root
}

// serverAccount chooses the server's user: who owns the data, for a new cluster this process's user, and for root, as
// whom PostgreSQL refuses to run, postgres or else nobody.
func serverAccount(dir string) (account, error) {
	me := os.Geteuid()
	data := filepath.Join(dir, "data")
	info, err := os.Stat(data)
	switch {
	case err == nil:
		uid, gid := ids(info)
		if uid == me && me != 0 {
			return account{name: userName(uid), uid: uid, gid: gid}, nil
		}
		if uid == 0 {
			return account{}, fmt.Errorf("%s belongs to root, and PostgreSQL never runs as root: give it to the user "+
				"it was made by, for example: chown -R postgres %s", data, data)
		}
		if me != 0 {
			return account{}, fmt.Errorf("%s belongs to user %s, not to you (%s): start the service as that user or "+
				"as root, or choose another folder", data, userName(uid), userName(me))
		}
		return account{name: userName(uid), uid: uid, gid: gid, switched: true}, nil
	case !errors.Is(err, os.ErrNotExist):
		return account{}, fmt.Errorf("look at the database folder: %w", err)
	case me != 0:
		return account{name: userName(me), uid: me, gid: os.Getegid()}, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, errUID := strconv.Atoi(u.Uid)
		gid, errGID := strconv.Atoi(u.Gid)
		if errUID == nil && errGID == nil && uid != 0 {
			return account{name: name, uid: uid, gid: gid, switched: true}, nil
		}
	}
	return account{}, errors.New("PostgreSQL never runs as root, and this machine has neither a user postgres nor a " +
		"user nobody to run it as: create one (useradd --system postgres), or start the service as a plain user")
}

// admit makes sure that the server's user can enter dir. A folder of root's own, as dir is when root made it, is
// opened to that user's group for entering, not for reading; the folders above it are left as they are, and one that
// is closed is an error.
func (a account) admit(dir string) error {
	if !a.switched {
		return nil
	}
	closed, err := a.firstClosed(filepath.Dir(dir))
	if err != nil {
		return err
	}
	if closed != "" {
		return fmt.Errorf("the database in %s runs as user %s, who may not enter %s: choose a folder elsewhere, for "+
			"example under /var/lib, or allow it: chmod o+x %s", dir, a.name, closed, closed)
	}
	info, err := os.Stat(dir)
	if err != nil {
		return fmt.Errorf("look at the database folder: %w", err)
	}
	if a.mayEnter(info) {
		return nil
	}
	if err := os.Chown(dir, -1, a.gid); err != nil {
		return fmt.Errorf("let user %s enter %s: %w", a.name, dir, err)
	}
	if err := os.Chmod(dir, info.Mode().Perm()|0o010); err != nil {
		return fmt.Errorf("let user %s enter %s: %w", a.name, dir, err)
	}
	return nil
}

// firstClosed returns the topmost folder on the way to and including dir that a may not enter, or "".
func (a account) firstClosed(dir string) (string, error) {
	real, err := filepath.EvalSymlinks(dir)
	if err != nil {
		return "", fmt.Errorf("look at the folders above the database: %w", err)
	}
	closed := ""
	for {
		info, err := os.Stat(real)
		if err != nil {
			return "", fmt.Errorf("look at the folders above the database: %w", err)
		}
		if !a.mayEnter(info) {
			closed = real
		}
		parent := filepath.Dir(real)
		if parent == real {
			return closed, nil
		}
		real = parent
	}
}

// mayEnter judges by the permission bits; the server gets no supplementary groups.
func (a account) mayEnter(folder os.FileInfo) bool {
	uid, gid := ids(folder)
	switch {
	case uid == a.uid:
		return folder.Mode()&0o100 != 0
	case gid == a.gid:
		return folder.Mode()&0o010 != 0
	default:
		return folder.Mode()&0o001 != 0
	}
}

// give hands path, just made by this process, to the server's user.
func (a account) give(path string) error {
	if !a.switched {
		return nil
	}
	return os.Chown(path, a.uid, a.gid)
}

// sysProcAttr starts a child as a, in a process group of its own.
func (a account) sysProcAttr() *syscall.SysProcAttr {
	attr := &syscall.SysProcAttr{Setpgid: true}
	if a.switched {
		attr.Credential = &syscall.Credential{Uid: uint32(a.uid), Gid: uint32(a.gid)}
	}
	return attr
}

func ids(info os.FileInfo) (uid, gid int) {
	stat := info.Sys().(*syscall.Stat_t) // what os.Stat gives on every system this file is built for
	return int(stat.Uid), int(stat.Gid)
}

func userName(uid int) string {
	u, err := user.LookupId(strconv.Itoa(uid))
	if err != nil {
		return "number " + strconv.Itoa(uid)
	}
	return u.Username
}

// ownerOf names the user a folder belongs to, for a message.
func ownerOf(path string) string {
	info, err := os.Stat(path)
	if err != nil {
		return "an unknown user"
	}
	uid, _ := ids(info)
	return "user " + userName(uid)
}

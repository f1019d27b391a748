package dbtest

import (
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
)

// helper starts a program that ends with the test, or with this process however that ends: then the shell that waits beside it
// finds its standard input closed. What it said is shown when the test failed. end ends it before.
func helper(t testing.TB, as *syscall.SysProcAttr, program string, args ...string) (end func()) {
	t.Helper()
	cmd := exec.Command("/bin/sh", append([]string{"-c", `"$@" & read -r never; kill -INT $!; wait`, "sh", program}, args...)...)
	cmd.SysProcAttr = as
	cmd.Dir = "/" // which anybody may enter
	var said strings.Builder
	cmd.Stdout, cmd.Stderr = &said, &said
	lifeline, err := cmd.StdinPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		t.Fatalf("start %s: %v", program, err)
	}
	end = sync.OnceFunc(func() {
		_ = lifeline.Close()
		_ = cmd.Wait()
	})
	t.Cleanup(func() {
		end()
		if t.Failed() {
			t.Logf("%s said:\n%s", program, said.String())
		}
	})
	return end
}

package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"evenrig/openapi"
)

// TestDiskIsFull: the disk under the records fills up. With no room for a database the program says so in one sentence, leaves
// what it found, and starts once there is room. While it runs and anglers send fish, whoever sends is told to come back, with
// Retry-After and a code; what was acknowledged can be read. Once there is room again the service goes on by itself, and what
// was refused is taken under its own id.
func TestDiskIsFull(t *testing.T) {
	t.Parallel()
	s := newSmallDisk(t, 160<<20)
	for _, left := range []int64{16 << 20, 42 << 20} { // too little for a new database, and for its tables
		s.fill(left)
		s.refusesToStart()
		s.empty()
	}
	url := s.serve()
	token, err := s.command("token", "--admin").Output()
	if err != nil {
		t.Fatalf("token: %v", err)
	}
	angler, period, id := openTrial(t, url, strings.TrimSpace(string(token)))
	f := &fullDisk{t: t, url: url, angler: angler, trial: id, period: period, acknowledged: map[openapi.CatchID]openapi.Receipt{}}
	stop := make(chan struct{})
	var senders sync.WaitGroup
	for n := range 4 {
		senders.Go(func() { f.send(uint64(n), stop) })
	}
	f.wait("the first fish", func() bool { return f.saved.Load() > 20 })
	s.fill(0)
	f.wait("a refusal for want of room", func() bool { return f.refused.Load() > 20 })
	f.wait("that it is not ready", func() bool { return f.status("/readyz") == http.StatusServiceUnavailable })
	list, err := angler.api.ListCatchesWithResponse(t.Context(), id, nil)
	if err := expect(list, err, "read while the disk is full", 200); err != nil {
		t.Error(err)
	}
	s.empty()
	f.wait("that it is ready again", func() bool { return f.status("/readyz") == http.StatusOK })
	before := f.saved.Load()
	f.wait("that fish are taken again", func() bool { return f.saved.Load() > before+20 })
	close(stop)
	senders.Wait()
	f.reckon()

	s.kill()
	s.fill(0)
	s.refusesToStart()
	s.empty()
	s.serve()
	out, err := s.command("check").CombinedOutput()
	if err != nil || !strings.Contains(string(out), "all agrees") {
		t.Errorf("check after the full disk: %v\n%s", err, out)
	}
	t.Logf("%d fish saved, %d times there was no room", f.saved.Load(), f.refused.Load())
}

// smallDisk is a file system of its own, which only those processes see that are started on it.
type smallDisk struct {
	t      *testing.T
	binary string
	folder string
	holder int // the process that keeps it
	server *exec.Cmd
}

// newSmallDisk skips the test where file systems cannot be mounted.
func newSmallDisk(t *testing.T, size int) *smallDisk {
	t.Helper()
	s := &smallDisk{t: t, binary: builtProgram(t), folder: dataFolder(t)}
	const hold = `mount --make-rprivate / && mount -t tmpfs -o mode=711,size="$1" tmpfs "$2" && echo mounted && exec cat`
	holder := exec.Command("/bin/sh", "-c", hold, "sh", fmt.Sprint(size), s.folder)
	holder.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNS}
	var why bytes.Buffer
	holder.Stderr = &why
	out, err := holder.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := holder.StdinPipe(); err != nil { // ends with this process, and with it the holder
		t.Fatal(err)
	}
	if err = holder.Start(); err == nil {
		t.Cleanup(func() {
			_ = holder.Process.Kill()
			_ = holder.Wait()
		})
		s.holder = holder.Process.Pid
		_, err = out.Read(make([]byte, len("mounted")))
	}
	if err != nil {
		if os.Getenv("REQUIRE_MOUNT") == "1" {
			t.Fatalf("REQUIRE_MOUNT is 1, but no file system can be mounted here: %v %s", err, &why)
		}
		t.Skipf("SKIPPED, NOT TESTED: no file system can be mounted here (REQUIRE_MOUNT=1 makes this a failure): %v %s", err, &why)
	}
	return s
}

// command is a command of the program, which sees the disk.
func (s *smallDisk) command(arguments ...string) *exec.Cmd {
	c := exec.Command("nsenter", append([]string{"--mount", "--target", fmt.Sprint(s.holder), s.binary}, arguments...)...)
	c.Env = append(os.Environ(), "EVENRIG_DATA="+s.folder, "EVENRIG_LOG=error", "EVENRIG_LISTEN=127.0.0.1:0", "EVENRIG_LIMIT_TOKEN=none", "EVENRIG_LIMIT_ADDRESS=none")
	return c
}

// serve starts the service and returns its address.
func (s *smallDisk) serve() (url string) {
	s.t.Helper()
	var said bytes.Buffer
	s.server = s.command("serve")
	s.server.Stderr = &said
	out, err := s.server.StdoutPipe()
	if err != nil {
		s.t.Fatal(err)
	}
	if err := s.server.Start(); err != nil {
		s.t.Fatal(err)
	}
	s.t.Cleanup(s.kill)
	for lines := bufio.NewScanner(out); lines.Scan(); {
		for word := range strings.FieldsSeq(lines.Text()) {
			if strings.HasPrefix(word, "http://") {
				go func() { _, _ = io.Copy(io.Discard, out) }()
				return word
			}
		}
	}
	s.kill()
	needServer(s.t, fmt.Errorf("the service did not start: %s", &said))
	return ""
}

func (s *smallDisk) kill() {
	if s.server != nil {
		_ = s.server.Process.Kill()
		_ = s.server.Wait()
		s.server = nil
	}
}

func (s *smallDisk) refusesToStart() {
	s.t.Helper()
	serve := s.command("serve")
	end := time.AfterFunc(30*time.Second, func() { _ = serve.Process.Kill() }) // it had room enough
	defer end.Stop()
	out, err := serve.CombinedOutput()
	if err == nil || !strings.Contains(string(out), "is full") {
		s.t.Errorf("on a full disk: %v\n%s", err, out)
	}
}

// ballast is a file of no use on the disk, seen from outside.
func (s *smallDisk) ballast() string {
	return filepath.Join("/proc", fmt.Sprint(s.holder), "root", s.folder, "ballast")
}

// fill leaves so many bytes.
func (s *smallDisk) fill(left int64) {
	s.t.Helper()
	file, err := os.Create(s.ballast())
	if err != nil {
		s.t.Fatal(err)
	}
	defer file.Close()
	var size int64
	for piece := 1 << 20; piece > 0; piece /= 2 {
		for err = nil; err == nil; {
			var n int
			n, err = file.Write(make([]byte, piece))
			size += int64(n)
		}
		if !errors.Is(err, syscall.ENOSPC) {
			s.t.Fatal(err)
		}
	}
	if err := file.Truncate(max(0, size-left)); err != nil {
		s.t.Fatal(err)
	}
}

func (s *smallDisk) empty() {
	s.t.Helper()
	if err := os.Remove(s.ballast()); err != nil {
		s.t.Fatal(err)
	}
}

// fullDisk is an angler who sends fish to a service whose disk fills up.
type fullDisk struct {
	t              *testing.T
	url            string
	angler         person
	trial          openapi.TrialID
	period         openapi.PeriodID
	saved, refused atomic.Int64

	mu           sync.Mutex
	acknowledged map[openapi.CatchID]openapi.Receipt
}

// send sends fish, each until it is taken, until stop is closed.
func (f *fullDisk) send(n uint64, stop <-chan struct{}) {
	rng := rand.New(rand.NewPCG(11, n))
	for {
		fish, body := openapi.CatchID(demoID(rng, time.Now())), catchIn(f.period)
		for taken := false; !taken; {
			select {
			case <-stop:
				return
			default:
			}
			got, err := f.angler.api.PutCatchWithResponse(context.Background(), f.trial, fish, body)
			switch {
			case err != nil:
				f.t.Error(err)
				return
			case got.StatusCode() == http.StatusServiceUnavailable:
				if got.HTTPResponse.Header.Get("Retry-After") == "" || !strings.Contains(string(got.Body), `"database.full"`) {
					f.t.Errorf("refused with Retry-After %q: %s", got.HTTPResponse.Header.Get("Retry-After"), got.Body)
				}
				f.refused.Add(1)
				time.Sleep(10 * time.Millisecond)
			case got.JSON201 != nil:
				f.keep(fish, *got.JSON201.Receipt)
				taken = true
			case got.JSON200 != nil:
				f.keep(fish, *got.JSON200.Receipt)
				taken = true
			default:
				f.t.Errorf("answered %d: %s", got.StatusCode(), got.Body)
				return
			}
		}
	}
}

func (f *fullDisk) keep(fish openapi.CatchID, receipt openapi.Receipt) {
	f.saved.Add(1)
	f.mu.Lock()
	defer f.mu.Unlock()
	f.acknowledged[fish] = receipt
}

func (f *fullDisk) status(path string) int {
	answer, err := http.Get(f.url + path)
	if err != nil {
		return 0
	}
	defer answer.Body.Close()
	_, _ = io.Copy(io.Discard, answer.Body)
	return answer.StatusCode
}

func (f *fullDisk) wait(what string, done func() bool) {
	f.t.Helper()
	for end := time.Now().Add(30 * time.Second); !done(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) || f.t.Failed() {
			f.t.Fatalf("waited for %s", what)
		}
	}
}

// reckon reads every fish that was acknowledged.
func (f *fullDisk) reckon() {
	f.t.Helper()
	for fish := range f.acknowledged {
		got, err := f.angler.api.GetCatchWithResponse(f.t.Context(), f.trial, fish)
		if err := expect(got, err, "read a fish that was acknowledged", 200); err != nil {
			f.t.Error(err)
		}
	}
}

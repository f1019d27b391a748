package api_test

import (
	"bufio"
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/binary"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"runtime"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"evenrig/service/trial"
)

// TestIdleConnections: who has asked and stays on the line costs little memory, and others are answered beside thousands of
// such. Go keeps 4 KiB each to read and to write and a goroutine of some KiB for each; the bound is four times that.
// With EVENRIG_FAULTS there are 10,000 of them, or as many as files may be open, of which each takes two here; else 2,000.
func TestIdleConnections(t *testing.T) {
	idle := 2000
	if os.Getenv("EVENRIG_FAULTS") != "" {
		idle = 10_000
	}
	idle = min(idle, (openFiles(t)-500)/2)
	address := serving(t, &tokenStore{}, 1, func(l net.Listener) net.Listener { return l })
	before := memory()
	answer := make([]byte, 4<<10)
	for range idle {
		conn := dial(t, address)
		if err := send(conn, "GET /healthz HTTP/1.1\r\nHost: x\r\n\r\n"); err != nil {
			t.Fatal(err)
		}
		if n, err := conn.Read(answer); err != nil || !bytes.HasPrefix(answer[:n], []byte("HTTP/1.1 200")) {
			t.Fatalf("%v: %s", err, answer[:n])
		}
	}
	each := (memory() - before) / int64(idle)
	if each > 64<<10 {
		t.Errorf("an idle connection takes %d bytes", each)
	}
	said, err := http.Get("http://" + address + "/openapi.yaml")
	if err != nil {
		t.Fatal(err)
	}
	defer said.Body.Close()
	if _, err := io.Copy(io.Discard, said.Body); err != nil || said.StatusCode != http.StatusOK {
		t.Errorf("beside %d idle connections another is answered %d, %v", idle, said.StatusCode, err)
	}
	t.Logf("%d idle connections take %d bytes each, both ends", idle, each)
}

// memory is what the process holds of its heap and stacks.
func memory() int64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return int64(m.HeapInuse + m.StackInuse)
}

// openFiles lets the process open as many files as it may and returns how many.
func openFiles(t *testing.T) int {
	t.Helper()
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil {
		t.Fatal(err)
	}
	limit.Cur = limit.Max
	if err := syscall.Setrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil {
		t.Fatal(err)
	}
	return int(min(limit.Cur, 1<<20))
}

// heldStore holds whoever is looked up until it is let go, whatever becomes of his request, and counts them.
type heldStore struct {
	tokenStore
	held, most atomic.Int64
	letGo      chan struct{}
}

func (s *heldStore) InReadTx(ctx context.Context, do func(context.Context, trial.ReadTx) error) error {
	n := s.held.Add(1)
	defer s.held.Add(-1)
	for most := s.most.Load(); n > most && !s.most.CompareAndSwap(most, n); most = s.most.Load() {
	}
	<-s.letGo
	return s.tokenStore.InReadTx(ctx, do)
}

// TestStreamsAreReset: a client of HTTP/2 (RFC 9113) that opens streams and resets each at once makes no more work under way than
// one that waits may: 250 requests of a connection, which is the Go library's bound. Others are answered meanwhile.
func TestStreamsAreReset(t *testing.T) {
	t.Parallel()
	store := &heldStore{letGo: make(chan struct{})}
	config := &tls.Config{Certificates: []tls.Certificate{selfSigned(t)}, NextProtos: []string{"h2", "http/1.1"}}
	address := serving(t, store, 1, func(l net.Listener) net.Listener { return tls.NewListener(l, config) })
	defer close(store.letGo)
	conn, err := tls.Dial("tcp", address, &tls.Config{InsecureSkipVerify: true, NextProtos: []string{"h2"}})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if got := conn.ConnectionState().NegotiatedProtocol; got != "h2" {
		t.Fatalf("the server speaks %q", got)
	}
	go func() { _, _ = io.Copy(io.Discard, conn) }()
	out := bufio.NewWriter(conn)
	_, _ = out.WriteString("PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n")
	frame(out, 4, 0, 0, nil) // SETTINGS
	// GET https /v1/me with a token, by the static table of RFC 7541.
	fields := []byte{0x82, 0x87, 0x04, 6}
	fields = append(fields, "/v1/me"...)
	fields = append(fields, 0x01, 1, 'x', 0x0f, 0x08, 12)
	fields = append(fields, "Bearer rig_x"...)
	var opened uint32
	for opened = range uint32(20_000) {
		frame(out, 1, 0x5, 2*opened+1, fields)           // HEADERS, END_STREAM and END_HEADERS
		frame(out, 3, 0, 2*opened+1, []byte{0, 0, 0, 8}) // RST_STREAM, CANCEL
		if err = out.Flush(); err != nil {
			break
		}
	}
	for end := time.Now().Add(patience); store.most.Load() == 0 && time.Now().Before(end); time.Sleep(time.Millisecond) { // it may not have read them yet
	}
	other := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}, Timeout: patience}
	answer, err := other.Get("https://" + address + "/healthz")
	if err != nil {
		t.Fatal(err)
	}
	answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		t.Errorf("another is answered %d", answer.StatusCode)
	}
	if most := store.most.Load(); most == 0 || most > 250 {
		t.Errorf("%d requests of one connection were under way at once", most)
	}
	t.Logf("%d streams were opened and reset, at most %d were worked at", opened, store.most.Load())
}

// frame writes a frame of HTTP/2 (RFC 9113, section 4.1). What cannot be written is found when it is flushed.
func frame(w *bufio.Writer, kind, flags byte, stream uint32, payload []byte) {
	head := binary.BigEndian.AppendUint32(nil, uint32(len(payload))<<8|uint32(kind))
	_, _ = w.Write(append(binary.BigEndian.AppendUint32(append(head, flags), stream), payload...))
}

func selfSigned(t *testing.T) tls.Certificate {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(rand.Reader, template, template, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}

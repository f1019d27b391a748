package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// selfSigned writes a certificate for localhost and its key, and returns a pool that trusts it.
func selfSigned(t *testing.T, folder string, serial int64, ends time.Time) *x509.CertPool {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: "localhost"}, NotBefore: time.Now().Add(-48 * time.Hour), NotAfter: ends,
		DNSNames: []string{"localhost"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	for name, block := range map[string]*pem.Block{"cert.pem": {Type: "CERTIFICATE", Bytes: der}, "key.pem": {Type: "PRIVATE KEY", Bytes: keyDER}} {
		if err := os.WriteFile(filepath.Join(folder, name), pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	pool := x509.NewCertPool()
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool.AddCert(parsed)
	return pool
}

// TestHTTPS runs the service by https: HTTP/2, HSTS, nothing older than TLS 1.2, plain HTTP sent on from the other
// address and answered with nothing on this one.
func TestHTTPS(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	pool := selfSigned(t, folder, 1, time.Now().Add(time.Hour))
	at := listening{Listen: "127.0.0.1:0", encrypting: encrypting{
		TLSCert: filepath.Join(folder, "cert.pem"), TLSKey: filepath.Join(folder, "key.pem"), HTTPListen: "127.0.0.1:0",
	}}
	if err := at.check(); err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.DiscardHandler)
	where := storage{Data: dataFolder(t), LogLevel: "error"}
	p, err := where.assemble(t.Context(), where.ownDatabase, log, time.Now)
	if err != nil {
		needServer(t, err)
	}
	defer p.close()
	r, err := p.start(t.Context(), at, log)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: pool}, ForceAttemptHTTP2: true}}
	response, err := client.Get(r.url + "/readyz")
	if err != nil {
		t.Fatal(err)
	}
	response.Body.Close()
	if response.StatusCode != 200 || response.ProtoMajor != 2 || !strings.HasPrefix(response.Header.Get("Strict-Transport-Security"), "max-age=") {
		t.Errorf("by https: %d, HTTP/%d, %q", response.StatusCode, response.ProtoMajor, response.Header.Get("Strict-Transport-Security"))
	}
	host := strings.TrimPrefix(r.url, "https://")
	if conn, err := tls.Dial("tcp", host, &tls.Config{RootCAs: pool, MinVersion: tls.VersionTLS10, MaxVersion: tls.VersionTLS11}); err == nil {
		conn.Close()
		t.Error("TLS 1.1 is spoken")
	}
	if plain, err := http.Get("http://" + host + "/readyz"); err == nil {
		if plain.Body.Close(); plain.StatusCode != http.StatusBadRequest {
			t.Errorf("plain HTTP to the https port: %d", plain.StatusCode)
		}
	}
	client.CloseIdleConnections()
	if err := r.stop(); err != nil {
		t.Error(err)
	}
}

// TestSendOn: reading is sent on to the same address by https, writing is refused.
func TestSendOn(t *testing.T) {
	for _, c := range []struct {
		method, url, public, port string
		status                    int
		location                  string
	}{
		{"GET", "http://trials.example.org/v1/x?a=b%20c", "", "443", 308, "https://trials.example.org/v1/x?a=b%20c"},
		{"HEAD", "http://trials.example.org:80/", "", "8443", 308, "https://trials.example.org:8443/"},
		{"GET", "http://[2001:db8::1]:8080/a", "", "8443", 308, "https://[2001:db8::1]:8443/a"},
		{"GET", "http://other.example/a", "https://trials.example.org", "443", 308, "https://trials.example.org/a"},
		{"POST", "http://trials.example.org/v1/x", "", "443", 403, ""},
		{"PUT", "http://trials.example.org/v1/x", "", "443", 403, ""},
	} {
		answer := httptest.NewRecorder()
		sendOn(c.public, c.port).ServeHTTP(answer, httptest.NewRequest(c.method, c.url, nil))
		if answer.Code != c.status || answer.Header().Get("Location") != c.location {
			t.Errorf("%s %s: %d to %q, want %d to %q", c.method, c.url, answer.Code, answer.Header().Get("Location"), c.status, c.location)
		}
	}
}

// TestACMESettings: a name that was not given gets no certificate and makes no request to the authority; its challenges by
// plain HTTP are answered beside what is sent on.
func TestACMESettings(t *testing.T) {
	c := encrypting{ACMEHosts: []string{"trials.example.org"}, ACMEDirectory: "https://127.0.0.1:1/directory"}
	if err := c.check(); err != nil {
		t.Fatal(err)
	}
	e, err := c.encryption(t.TempDir(), "", "443", slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := e.config.GetCertificate(&tls.ClientHelloInfo{ServerName: "other.example.org"}); err == nil || !strings.Contains(err.Error(), "not configured") {
		t.Errorf("another name: %v", err)
	}
	for path, want := range map[string]int{"/.well-known/acme-challenge/unknown": 404, "/v1/x": 308} {
		answer := httptest.NewRecorder()
		e.redirect.ServeHTTP(answer, httptest.NewRequest("GET", "http://trials.example.org"+path, nil))
		if answer.Code != want {
			t.Errorf("GET %s: %d, want %d", path, answer.Code, want)
		}
	}
}

// TestRenewedCertificate: a renewed pair is taken up, half of one is not, and an old one at the start is refused.
func TestRenewedCertificate(t *testing.T) {
	folder := t.TempDir()
	cert, key := filepath.Join(folder, "cert.pem"), filepath.Join(folder, "key.pem")
	selfSigned(t, folder, 1, time.Now().Add(time.Hour))
	files, err := newCertificateFiles(cert, key, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	serial := func() int64 {
		files.mu.Lock()
		files.looked = time.Time{} // as if a minute had gone by
		files.mu.Unlock()
		pair, err := files.get(nil)
		if err != nil {
			t.Fatal(err)
		}
		return pair.Leaf.SerialNumber.Int64()
	}
	if got := serial(); got != 1 {
		t.Errorf("serial number %d, want 1", got)
	}
	renewed := t.TempDir()
	selfSigned(t, renewed, 2, time.Now().Add(time.Hour))
	move := func(name string) {
		text, err := os.ReadFile(filepath.Join(renewed, name))
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(folder, name), text, 0o600); err != nil {
			t.Fatal(err)
		}
		// So that it differs in time, however coarse the file system's clock.
		if err := os.Chtimes(filepath.Join(folder, name), time.Now(), time.Now().Add(time.Duration(len(name))*time.Second)); err != nil {
			t.Fatal(err)
		}
	}
	move("cert.pem")
	if got := serial(); got != 1 {
		t.Errorf("with half a renewal: serial number %d, want the old 1", got)
	}
	move("key.pem")
	if got := serial(); got != 2 {
		t.Errorf("serial number %d, want the renewed 2", got)
	}
	selfSigned(t, folder, 3, time.Now().Add(-time.Hour))
	if _, err := newCertificateFiles(cert, key, slog.New(slog.DiscardHandler)); err == nil || !strings.Contains(err.Error(), "ended on") {
		t.Errorf("a certificate that has ended: %v", err)
	}
}

// TestPlainOnlyHere: plain HTTP for other machines is no setting.
func TestPlainOnlyHere(t *testing.T) {
	for name, c := range map[string]struct {
		args []string
		says string // "" is accepted
	}{
		"all addresses":    {[]string{"--listen", ":8080"}, "plain HTTP is not for them"},
		"another address":  {[]string{"--listen", "192.0.2.1:8080"}, "plain HTTP is not for them"},
		"behind a proxy":   {[]string{"--listen", ":8080", "--trusted-proxies", "192.0.2.0/24"}, ""},
		"this machine":     {[]string{"--listen", "[::1]:8080"}, ""},
		"half a pair":      {[]string{"--tls-cert", "x"}, "go together"},
		"both ways":        {[]string{"--tls-cert", "x", "--tls-key", "x", "--acme-hosts", "a.example"}, "one of them"},
		"any name":         {[]string{"--acme-hosts", "*.example"}, "whole names"},
		"a number":         {[]string{"--acme-hosts", "192.0.2.1"}, "whole names"},
		"nothing to go to": {[]string{"--http-listen", ":80"}, "which is off"},
		"by names":         {[]string{"--listen", ":443", "--acme-hosts", "a.example,b.example", "--http-listen", ":80"}, ""},
	} {
		var parsed commands
		parser, err := newParser(&parsed, streams{nil, io.Discard, io.Discard}, func(int) {})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := parser.Parse(append([]string{"serve"}, c.args...)); err != nil {
			t.Fatal(err)
		}
		err = parsed.Serve.listening.check()
		if (err == nil) != (c.says == "") || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v; want %q", name, err, c.says)
		}
	}
}

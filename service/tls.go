package main

import (
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/crypto/acme"
	"golang.org/x/crypto/acme/autocert"
)

// encrypting says how the service answers by https. Without any of it the service answers by plain HTTP, and then only
// this machine and trusted proxies.
type encrypting struct {
	TLSCert       string   `name:"tls-cert" env:"EVENRIG_TLS_CERT" placeholder:"FILE" help:"Certificate for https with its chain (PEM). Read again when it changes."`
	TLSKey        string   `name:"tls-key" env:"EVENRIG_TLS_KEY" placeholder:"FILE" help:"The certificate's key (PEM)."`
	ACMEHosts     []string `name:"acme-hosts" env:"EVENRIG_ACME_HOSTS" placeholder:"NAME" help:"Names under which the service is reached from everywhere on port 443; certificates for them are got and renewed by ACME (RFC 8555), which agrees to the authority's terms. Kept in the data folder."`
	ACMEMail      string   `name:"acme-mail" env:"EVENRIG_ACME_MAIL" placeholder:"ADDRESS" help:"E-mail address that the certificate authority may write to."`
	ACMEDirectory string   `name:"acme-directory" env:"EVENRIG_ACME_DIRECTORY" placeholder:"URL" default:"${acme}" help:"The certificate authority's ACME directory."`
	HTTPListen    string   `name:"http-listen" env:"EVENRIG_HTTP_LISTEN" placeholder:"HOST:PORT" help:"Address, like :80, that sends plain HTTP on to https. Off unless given."`
}

// on reports whether the service itself ends TLS.
func (c encrypting) on() bool { return c.TLSCert != "" || len(c.ACMEHosts) > 0 }

func (c encrypting) check() error {
	var errs []error
	if (c.TLSCert == "") != (c.TLSKey == "") {
		errs = append(errs, errors.New("EVENRIG_TLS_CERT (--tls-cert) and EVENRIG_TLS_KEY (--tls-key) go together; accepted: both or neither"))
	}
	if c.TLSCert != "" && len(c.ACMEHosts) > 0 {
		errs = append(errs, errors.New("EVENRIG_TLS_CERT (--tls-cert) and EVENRIG_ACME_HOSTS (--acme-hosts) are both given; accepted: one of them"))
	}
	for _, host := range c.ACMEHosts {
		if host == "" || net.ParseIP(host) != nil || strings.ContainsAny(host, "*/: ") || !strings.Contains(host, ".") {
			errs = append(errs, fmt.Errorf("EVENRIG_ACME_HOSTS (--acme-hosts) has %q; accepted: whole names like trials.example.org", host))
		}
	}
	if u, err := url.Parse(c.ACMEDirectory); len(c.ACMEHosts) > 0 && (err != nil || u.Scheme != "https") {
		errs = append(errs, fmt.Errorf("EVENRIG_ACME_DIRECTORY (--acme-directory) is %q; accepted: an https address", c.ACMEDirectory))
	}
	if c.HTTPListen != "" {
		if _, port, err := net.SplitHostPort(c.HTTPListen); err != nil || port == "" {
			errs = append(errs, fmt.Errorf("EVENRIG_HTTP_LISTEN (--http-listen) is %q; accepted: HOST:PORT like :80", c.HTTPListen))
		}
		if !c.on() {
			errs = append(errs, errors.New("EVENRIG_HTTP_LISTEN (--http-listen) sends on to https, which is off; accepted: with EVENRIG_TLS_CERT or EVENRIG_ACME_HOSTS"))
		}
	}
	return errors.Join(errs...)
}

// encryption is what answers by https and sends plain HTTP there.
type encryption struct {
	config   *tls.Config
	redirect http.Handler
}

// encryption reads the certificate or gets ready to ask for one. port is where https is answered.
func (c encrypting) encryption(data, publicURL, port string, log *slog.Logger) (*encryption, error) {
	onward := sendOn(publicURL, port)
	if c.TLSCert != "" {
		files, err := newCertificateFiles(c.TLSCert, c.TLSKey, log)
		if err != nil {
			return nil, fmt.Errorf("EVENRIG_TLS_CERT (--tls-cert) and EVENRIG_TLS_KEY (--tls-key): %w", err)
		}
		config := &tls.Config{MinVersion: tls.VersionTLS12, NextProtos: []string{"h2", "http/1.1"}, GetCertificate: files.get}
		return &encryption{config, onward}, nil
	}
	manager := &autocert.Manager{
		Prompt: autocert.AcceptTOS, Cache: autocert.DirCache(filepath.Join(data, "acme")), HostPolicy: autocert.HostWhitelist(c.ACMEHosts...),
		Email: c.ACMEMail, Client: &acme.Client{DirectoryURL: c.ACMEDirectory, UserAgent: "evenrig"},
	}
	config := manager.TLSConfig()
	config.MinVersion = tls.VersionTLS12
	return &encryption{config, manager.HTTPHandler(onward)}, nil
}

// sendOn answers plain HTTP with the same address by https. What changes something is refused: the program that sent it
// has to be set right, since what it sent could be read on its way.
func sendOn(publicURL, port string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.Method != http.MethodGet && r.Method != http.MethodHead {
			http.Error(w, "this service answers by https only; change the address that was used", http.StatusForbidden)
			return
		}
		base := publicURL
		if base == "" {
			host := r.Host
			if h, _, err := net.SplitHostPort(host); err == nil {
				host = h
			}
			if port != "443" {
				host = net.JoinHostPort(strings.Trim(host, "[]"), port)
			}
			base = "https://" + host
		}
		w.Header().Set("Cache-Control", "no-store")
		http.Redirect(w, r, strings.TrimSuffix(base, "/")+r.URL.RequestURI(), http.StatusPermanentRedirect)
	})
}

// redirectServer answers at an address with what sends on to https.
func redirectServer(handler http.Handler, log *slog.Logger) *http.Server {
	return &http.Server{
		Handler: handler, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 10 * time.Second, IdleTimeout: 30 * time.Second,
		MaxHeaderBytes: 16 << 10, ErrorLog: slog.NewLogLogger(log.Handler(), slog.LevelWarn),
	}
}

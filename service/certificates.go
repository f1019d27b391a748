package main

import (
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"sync"
	"time"
)

// certificateFiles are a certificate and its key in files that some other program renews. They are read again when they
// have changed, so that a renewal needs no restart; while a new pair cannot be read the old one stays in use.
type certificateFiles struct {
	cert, key string
	log       *slog.Logger

	mu     sync.Mutex
	pair   *tls.Certificate
	stamp  string    // of the files that pair, or the last failure, came from
	looked time.Time // when the files were last looked at
}

// lookEvery is how often the files are looked at, at most.
const lookEvery = time.Minute

func newCertificateFiles(cert, key string, log *slog.Logger) (*certificateFiles, error) {
	f := &certificateFiles{cert: cert, key: key, log: log}
	if err := f.read(time.Now()); err != nil {
		return nil, err
	}
	return f, nil
}

// get is tls.Config's GetCertificate.
func (f *certificateFiles) get(*tls.ClientHelloInfo) (*tls.Certificate, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if now := time.Now(); now.Sub(f.looked) >= lookEvery {
		if err := f.read(now); err != nil {
			f.log.Error("the renewed certificate cannot be used; the old one stays in use", "reason", err)
		}
	}
	return f.pair, nil
}

// read reads the files if they are not the ones that were read last.
func (f *certificateFiles) read(now time.Time) error {
	f.looked = now
	stamp := ""
	for _, path := range []string{f.cert, f.key} {
		info, err := os.Stat(path)
		if err != nil {
			return err
		}
		stamp += fmt.Sprintf("%d %d ", info.ModTime().UnixNano(), info.Size())
	}
	if stamp == f.stamp {
		return nil
	}
	f.stamp = stamp
	pair, err := tls.LoadX509KeyPair(f.cert, f.key)
	if err != nil {
		return err
	}
	if pair.Leaf != nil && now.After(pair.Leaf.NotAfter) {
		err := fmt.Errorf("the certificate in %s ended on %s", f.cert, pair.Leaf.NotAfter.Format(time.DateOnly))
		if f.pair == nil {
			return err
		}
		return errors.Join(err, errors.New("renew it"))
	}
	if f.pair != nil {
		f.log.Info("took up the renewed certificate", "file", f.cert)
	}
	f.pair = &pair
	return nil
}

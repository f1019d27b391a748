package api

import (
	"errors"
	"io"
	"net/http"
	"time"
)

const (
	// smallBody is what arrives within readTime even by the slowest way.
	smallBody = 16 << 10
	// leastRate is the rate, in bytes a second, at which a longer body may arrive once readTime is over: a phone at 20 kbit/s
	// is twice as fast.
	leastRate = 1 << 10
	// pauseTime is how long nothing may arrive of a longer body: a phone that changes its mast.
	pauseTime = 30 * time.Second
)

// arriving is a longer body on its way. It is cut off when nothing comes for a while or when it comes slower than leastRate, so
// that an honest phone may take minutes for a day's fish and nobody holds a connection with a byte now and then.
type arriving struct {
	io.ReadCloser
	control  *http.ResponseController
	times    times
	begun    time.Time
	received int64
}

// times are a server's limits of time for what has a body: readTime, workTime and pauseTime, but in tests.
type times struct{ read, work, pause time.Duration }

// Read implements io.Reader.
func (a *arriving) Read(p []byte) (int, error) {
	now := time.Now()
	due := a.begun.Add(a.times.read + time.Duration(a.received)*time.Second/leastRate)
	if pause := now.Add(a.times.pause); pause.Before(due) {
		due = pause
	}
	if err := a.allow(due); err != nil {
		return 0, err
	}
	n, err := a.ReadCloser.Read(p)
	a.received += int64(n)
	if errors.Is(err, io.EOF) {
		// What follows is work, during which the server listens for a client that hangs up.
		if failed := a.allow(time.Now().Add(a.times.work)); failed != nil {
			err = failed
		}
	}
	return n, err
}

// allow lets the body be read until then, and the answer be written a while longer.
func (a *arriving) allow(until time.Time) error {
	err := errors.Join(a.control.SetReadDeadline(until), a.control.SetWriteDeadline(until.Add(a.times.work)))
	if errors.Is(err, http.ErrNotSupported) {
		return nil
	}
	return err
}

// takeTime lets a longer body of the request take its time. It returns how much longer than others the request may take.
func (t times) takeTime(r *http.Request, w http.ResponseWriter, limit int64) time.Duration {
	length := r.ContentLength
	if length < 0 || length > limit { // it is not said, or will be refused
		length = limit
	}
	if length <= smallBody {
		return 0
	}
	r.Body = &arriving{ReadCloser: r.Body, control: http.NewResponseController(w), times: t, begun: time.Now()}
	return t.read + time.Duration(length)*time.Second/leastRate
}

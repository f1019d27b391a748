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
	// leastTableRate is the same for a table or a package, which comes from a desk and holds one of few places: 256 kbit/s.
	leastTableRate = 32 << 10
	// pauseTime is how long nothing may arrive of a longer body: a phone that changes its mast.
	pauseTime = 30 * time.Second
)

// arriving is a longer body on its way. It is cut off when nothing comes for a while or when it comes slower than its rate, so
// that an honest phone may take minutes for a day's fish and nobody holds a connection with a byte now and then. Once it is there, there
// is work to do.
type arriving struct {
	io.ReadCloser
	control  *http.ResponseController
	times    times
	rate     int64
	work     time.Duration
	begun    time.Time
	received int64
}

// times are a server's limits of time for what has a body: readTime, workTime and pauseTime, but in tests.
type times struct{ read, work, pause time.Duration }

// Read implements io.Reader.
func (a *arriving) Read(p []byte) (int, error) {
	now := time.Now()
	due := a.begun.Add(a.times.read + time.Duration(a.received)*time.Second/time.Duration(a.rate))
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
		if failed := a.allow(time.Now().Add(a.work)); failed != nil {
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
func (t times) takeTime(r *http.Request, w http.ResponseWriter, op *operation) time.Duration {
	length := r.ContentLength
	if length < 0 || length > op.bodyLimit { // it is not said, or will be refused
		length = op.bodyLimit
	}
	rate, work := int64(leastRate), t.work
	switch {
	case op.timeLimit > workTime:
		rate, work = leastTableRate, op.timeLimit
	case length <= smallBody:
		return 0
	}
	r.Body = &arriving{ReadCloser: r.Body, control: http.NewResponseController(w), times: t, rate: rate, work: work, begun: time.Now()}
	return t.read + time.Duration(length)*time.Second/time.Duration(rate)
}

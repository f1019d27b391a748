package api

import "time"

// Hurry makes the server's limits of time short, so that tests need not wait for them. Their proportions stay.
func (s *Server) Hurry(by time.Duration) {
	s.http.ReadHeaderTimeout /= by
	s.http.ReadTimeout /= by
	s.http.WriteTimeout /= by
	s.http.IdleTimeout /= by
	s.contract.times.read /= by
	s.contract.times.work /= by
	s.contract.times.pause /= by
}

// StreamWithin answers with a stream whose reader may take nothing for so long.
var StreamWithin = streamWithin

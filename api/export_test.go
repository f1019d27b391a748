package api

import (
	"time"
	"unicode/utf8"

	"github.com/getkin/kin-openapi/openapi3"

	"evenrig/service/trial"
)

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

// NewLook returns what says of a text whether it certainly fits a schema by its shape, and what the schema itself finds wrong.
func NewLook() func(*openapi3.Schema, []byte) (fits bool, faults error) {
	k := loadContract()
	return func(schema *openapi3.Schema, text []byte) (bool, error) {
		var f trial.Faults
		err := k.checkJSON(&f, schema, text) // which knows no shape of a schema that was read elsewhere
		if err == nil {
			err = f.Err("", "")
		}
		return utf8.Valid(text) && shapeOf(schema).fits(text), err
	}
}

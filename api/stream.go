package api

import (
	"bufio"
	"errors"
	"io"
	"net/http"
	"time"
)

const (
	streamBuffer = 64 << 10
	stallTime    = time.Minute
)

// stream answers with what write writes, as it comes, of any length. A failure before the first buffer is full is answered like any
// other; after that the connection is cut, so that nobody takes a part for the whole. A reader who takes nothing for a minute
// is cut off too, since write may hold what others need.
func stream(w http.ResponseWriter, contentType string, write func(io.Writer) error) error {
	return streamWithin(stallTime, w, contentType, write)
}

func streamWithin(stall time.Duration, w http.ResponseWriter, contentType string, write func(io.Writer) error) error {
	s := &streamed{w: w, control: http.NewResponseController(w), contentType: contentType, stall: stall}
	buffered := bufio.NewWriterSize(s, streamBuffer)
	err := write(buffered)
	if err == nil {
		err = buffered.Flush()
	}
	if err != nil && s.begun {
		panic(http.ErrAbortHandler)
	}
	return err
}

// streamed is an answer that begins with its first bytes.
type streamed struct {
	w           http.ResponseWriter
	control     *http.ResponseController
	contentType string
	stall       time.Duration // how long the reader may take nothing
	begun       bool
}

// Write implements io.Writer.
func (s *streamed) Write(b []byte) (int, error) {
	if !s.begun {
		s.begun = true
		s.w.Header().Set("Content-Type", s.contentType)
		s.w.WriteHeader(http.StatusOK)
	}
	if err := s.control.SetWriteDeadline(time.Now().Add(s.stall)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return 0, err
	}
	return s.w.Write(b)
}

package api

import (
	"net/http"
	"strconv"
	"strings"
)

// unchanged is bytes that never change under their ETag. Whoever has them is told so.
type unchanged struct {
	etag, contentType string
	has               *string // If-None-Match
	text              []byte
}

// write answers with the bytes, or 304 (RFC 9110 section 13.1.2).
func (u unchanged) write(w http.ResponseWriter) error {
	w.Header().Set("ETag", u.etag)
	if u.has != nil && hasOne(*u.has, u.etag) {
		w.WriteHeader(http.StatusNotModified)
		return nil
	}
	w.Header().Set("Content-Type", u.contentType)
	w.Header().Set("Content-Length", strconv.Itoa(len(u.text)))
	w.WriteHeader(http.StatusOK)
	_, err := w.Write(u.text)
	return err
}

// hasOne reports whether one of the ETags in a list is the given one, by the weak comparison; * is any.
func hasOne(list, etag string) bool {
	for one := range strings.SplitSeq(list, ",") {
		if one = strings.TrimSpace(one); one == "*" || strings.TrimPrefix(one, "W/") == etag {
			return true
		}
	}
	return false
}
